"""Protections that nothing else would miss: each test fails where one of them is left out."""

from collections.abc import Callable
from contextlib import asynccontextmanager
from itertools import pairwise
from types import MethodType
from typing import Any

import pytest

from ohmwright.engine.activation import activation
from ohmwright.engine.capability import complaints
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.release import LAST_TRY_BOUND_S, RELEASE_BOUND_S
from ohmwright.engine.requirements import Abilities
from ohmwright.engine.run_so_far import results
from ohmwright.engine.session import Session
from ohmwright.engine.steps.base import StepRun
from ohmwright.engine.steps.leakage import LeakageStep
from ohmwright.engine.unasked_rf import ensure_off_at_start
from ohmwright.engine.watched_rest import rest
from ohmwright.instruments.analyzer import Analyzer, GuardProof
from ohmwright.instruments.conformance_kit import Kit, off_limit_s
from ohmwright.instruments.conformance_on import guard_opens_the_output
from ohmwright.model import rf_state
from ohmwright.model.errors import LinkTimeout
from ohmwright.model.event import ActivationOpened, ProtectionProved, UnaskedRf
from ohmwright.model.hardware import AnalyzerData, InputPath
from ohmwright.model.protections import Protections
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.model.step import Timing
from ohmwright.wire.clock import VirtualClock

pytestmark = pytest.mark.anyio
MONOPOLAR = shipped("procedures", "demo-monopolar.toml")
PLOVER = load(shipped("analyzers", "plover-200.toml"), AnalyzerData, table="data")
LIMIT_S = off_limit_s(PLOVER.meter)


async def test_off_the_limit_and_the_guard_are_each_proved_where_nobody_stays(
    make_rig: Callable[..., Any],
) -> None:
    rig = make_rig()
    link = rig.bench.analyzer.dialogue.framing.link

    async def prove_watchdog(link: Any) -> float:
        link._handle(b"OUTPut:STATe OFF\n")
        return 0.3

    link.guarded, link.prove_watchdog = True, MethodType(prove_watchdog, link)
    events = await rig.run(MONOPOLAR, ("as_found",))
    assert [event.what for event in events if isinstance(event, ProtectionProved)] == [
        "OFF opens the output",
        "the limit sent with ON ends an activation",
        "the guard's OFF opens the output",
    ]


def test_a_person_is_told_within_seconds_that_rf_may_be_on() -> None:
    """Until the time for a release is over, nobody is told to go to the mains switch."""
    assert RELEASE_BOUND_S + LAST_TRY_BOUND_S <= 11


class _Proving:
    """An analyzer whose guard says this of its proof, which takes so long by the bench's clock."""

    def __init__(self, proof: GuardProof, clock: VirtualClock, lasts_s: float) -> None:
        self._proof, self._clock, self._lasts_s = proof, clock, lasts_s
        self.data, self.protections = PLOVER, Protections(guard=True)

    async def prove_watchdog(self) -> GuardProof:
        self._clock.advance(self._lasts_s)
        return self._proof


@pytest.mark.parametrize(
    ("proof", "lasts_s", "says"),
    [
        (GuardProof(False, 0.1), 0.1, "ON did not read back as on"),
        (GuardProof(True, LIMIT_S), 0.1, "no sooner than by its limit"),
        (GuardProof(True, 0.3), LIMIT_S, "no sooner than by its limit"),
        (GuardProof(True, 0.3), 0.3, None),
    ],
)
async def test_a_guard_is_proved_only_by_a_closed_output_opened_before_its_limit(
    proof: GuardProof, lasts_s: float, says: str | None
) -> None:
    @asynccontextmanager
    async def activate(*_: float) -> Any:
        yield

    clock = VirtualClock()
    analyzer: Analyzer = _Proving(proof, clock, lasts_s)  # type: ignore[assignment]
    problem = (await guard_opens_the_output(Kit(analyzer, clock, activate, 300))).problem
    assert (problem is None) if says is None else (says in (problem or ""))


async def test_rf_is_in_doubt_from_before_on_is_sent(make_rig: Callable[..., Any]) -> None:
    """A crash while ON is on its way must not say that RF was last read back as off."""
    rf_state.forget()
    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    assert rig.bench.rf.state == "off"
    seen: list[tuple[str, bool]] = []

    async def lost_on_its_way(limit_s: float) -> None:
        seen.append((rig.bench.rf.state, rf_state.latest().may_be_on))
        raise LinkTimeout(f"no answer to ON for {limit_s:g} s")

    rig.bench.analyzer.switch_on = lost_on_its_way
    with pytest.raises(LinkTimeout):
        async with activation(rig.bench, load_ohm=300, power_w=100, limit_s=5):
            pytest.fail("the block was entered")
    assert seen == [("unknown", True)]
    assert (rig.bench.rf.state, rf_state.latest().may_be_on) == ("off", False)


async def test_after_a_release_the_guard_is_promised_nothing(make_rig: Callable[..., Any]) -> None:
    """Else its OFF would come in a rest, as a fault that is none."""
    rig = make_rig()
    promised: list[float | None] = []
    link = rig.bench.analyzer.dialogue.framing.link

    async def expect_traffic(every_s: float | None) -> None:
        promised.append(every_s)

    link.expect_traffic = expect_traffic
    await ensure_off_at_start(rig.bench, PendingEvents())
    async with activation(rig.bench, load_ohm=300, power_w=100, limit_s=5):
        assert promised[-1] is not None
    assert promised[-1] is None


async def test_any_state_but_0_is_noticed_in_a_rest(make_rig: Callable[..., Any]) -> None:
    """Little or nothing flows as yet; the contact alone tells."""
    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    link = rig.bench.analyzer.dialogue.framing.link
    handle = link._handle
    assert not await rig.bench.rf.may_be_on()
    link._handle = lambda line: b"2\n" if line.endswith(b"STATe?\n") else handle(line)
    assert await rig.bench.rf.may_be_on()


async def test_in_a_rest_a_contact_that_reads_2_is_opened(make_rig: Callable[..., Any]) -> None:
    rig = make_rig()
    session, looks = Session(rig.bench), 0
    await ensure_off_at_start(rig.bench, PendingEvents())
    async with session.activation(load_ohm=500, power_w=310, limit_s=10):
        await rig.bench.clock.sleep(6)
    link = rig.bench.analyzer.dialogue.framing.link
    handle = link._handle
    link._handle = lambda line: (
        handle(line).replace(b"1\n", b"2\n")
        if (line.endswith(b"STATe?\n"))
        else b"+0.00000E+00,A,%05d\n" % (looks // 2)
        if b"FETCh:CURR" in line
        else handle(line)
    )

    def look(_: object) -> None:
        nonlocal looks
        looks += 1
        if looks == 5:
            rig.hardware._rig.close_contact(20.0)  # a contact that closes by itself

    session.on_status = look
    await rest(session, Timing(rest_s=20), power_w=100, tolerance=0)
    (_, _), (on_s, off_s) = rig.hardware.truth.rf_on_intervals
    assert off_s is not None
    assert off_s - on_s < 4


@pytest.mark.parametrize(
    ("contact", "attended", "complains"),
    [
        ({"max_limit_s": None, "single_shot": False}, False, True),
        ({"max_limit_s": None, "single_shot": False}, True, False),
        ({"max_limit_s": None, "single_shot": True}, False, False),
        ({"max_limit_s": 20.0, "single_shot": False}, False, False),
    ],
)
def test_nobody_leaves_an_analyzer_that_bounds_no_activation(
    make_rig: Callable[..., Any], contact: dict[str, Any], attended: bool, complains: bool
) -> None:
    bench = make_rig().bench
    data = bench.analyzer.data
    output = data.activation.model_copy(update=contact)
    abilities = Abilities(
        data.model_copy(update={"activation": output}),
        bench.generator.data,
        has_port=True,
        attended=attended,
        protections=bench.analyzer.protections.model_copy(
            update={
                "limit_in_on": output.max_limit_s is not None,
                "single_shot": output.single_shot,
            }
        ),
    )
    said = list(complaints(read_procedure(MONOPOLAR), ("as_found", "adjust"), abilities))
    lacks = "It lacks: a time limit that the analyzer keeps"
    assert any(lacks in line for line in said) is complains


async def test_leakage_is_not_measured_where_too_little_is_delivered(
    make_rig: Callable[..., Any],
) -> None:
    """40 % of the setting is no proof: it is chosen anew, and only then is it measured."""
    rig = make_rig()
    generator, asked = rig.bench.generator, list[float]()
    select, step = generator.select, _leakage_step()

    async def too_little_at_first(mode: str, setting_w: float) -> None:
        asked.append(setting_w)
        await select(mode, (0.4 if len(asked) == 1 else 1.0) * setting_w)

    generator.select = too_little_at_first
    await ensure_off_at_start(rig.bench, PendingEvents())
    session = Session(rig.bench)
    work = StepRun(session, "as_found", Timing(rest_s=20), step.point_names(), (), False, {})
    events = [e async for e in step.run(work)]
    (result,) = results(events)
    assert asked == [step.setting_w] * 2
    assert result.verdict == "pass"
    opened = [event for event in events if isinstance(event, ActivationOpened)]
    assert len(opened) == 3  # the proof, the proof anew, the leakage


async def test_rf_that_stays_on_behind_the_leakage_path_is_seen_on_that_of_the_output(
    make_rig: Callable[..., Any],
) -> None:
    rig, step, was_on_leakage = make_rig(), _leakage_step(), False
    analyzer = rig.bench.analyzer
    set_path = analyzer.set_path

    async def keyed_once_joined_back(path: InputPath) -> None:
        nonlocal was_on_leakage
        await set_path(path)
        if was_on_leakage and path == "OUTPUT":
            rig.hardware._rig.close_contact(20.0)
        was_on_leakage = path == "LEAKAGE"

    analyzer.set_path = keyed_once_joined_back
    await ensure_off_at_start(rig.bench, PendingEvents())
    session = Session(rig.bench)
    work = StepRun(session, "as_found", Timing(rest_s=20), step.point_names(), (), False, {})
    async for _ in step.run(work):
        assert not rig.hardware.truth.rf_on
    assert [type(event) for event in session.pending.take()] == [UnaskedRf]


def _leakage_step() -> LeakageStep:
    steps = read_procedure(MONOPOLAR).procedure.step
    return next(step for step in steps if isinstance(step, LeakageStep))


def _rate(rig: Any, *, bank: float, generator: float) -> None:
    """Give the load bank and the generator these duties, each at 310 W."""
    analyzer, unit = rig.bench.analyzer, rig.bench.generator
    rated = analyzer.data.load_bank.model_copy(update={"max_power_w": 310.0, "duty": bank})
    analyzer.data = analyzer.data.model_copy(update={"load_bank": rated})
    unit.data = unit.data.model_copy(update={"duty": generator})


@pytest.mark.parametrize(("bank", "generator"), [(0.1, 1.0), (1.0, 0.1)])
async def test_load_bank_and_generator_rest_as_their_duty_asks(
    make_rig: Callable[..., Any], bank: float, generator: float
) -> None:
    """A tenth of on-time at its rating: no less than nine times as long off as on."""
    rig = make_rig()
    _rate(rig, bank=bank, generator=generator)
    assert max(mode.max_setting_w for mode in rig.bench.generator.data.modes) == 310
    rig.hardware.panel.select("cut", 310)
    await ensure_off_at_start(rig.bench, PendingEvents())
    session = Session(rig.bench)
    for _ in range(3):
        await rest(session, Timing(rest_s=10), power_w=310, tolerance=0)
        async with session.activation(load_ohm=500, power_w=310, limit_s=15):
            await rig.bench.clock.sleep(12)
    spans = rig.hardware.truth.rf_on_intervals
    assert len(spans) == 3
    for (on_s, off_s), (again_s, _) in pairwise(spans):
        assert again_s - off_s >= 9 * (off_s - on_s)
