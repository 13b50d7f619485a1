"""A person does the analyzer's part: foot switch, knobs, typed readings."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import inf
from pathlib import Path
from types import SimpleNamespace
from typing import Any, TypeVar

import anyio
import pytest

from ohmwright.api.bench_data import read_bench
from ohmwright.api.open_bench import assemble_bench, simulated_bench
from ohmwright.api.rf_words import rf_picture
from ohmwright.api.run_view import RunWatch
from ohmwright.engine.activation import Activation
from ohmwright.engine.capability import complaints
from ohmwright.engine.figures_on_record import differing_figures
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.recomputed_values import differing, recomputable
from ohmwright.engine.requests_on_record import missing_requests
from ohmwright.engine.requirements import abilities_of
from ohmwright.engine.run import run
from ohmwright.engine.stop_rules import dated
from ohmwright.engine.undoubted import ONCE_MORE
from ohmwright.estimation.settled_value import Settled
from ohmwright.instruments.analyzer import Reading
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.doubt_requests import LookForCause
from ohmwright.instruments.foot_switch import RELEASE
from ohmwright.instruments.hand_requests import MeasureAgain, PressFootSwitch, TypeReading
from ohmwright.instruments.requests import Request
from ohmwright.model.bench_file import BenchFile
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.by_hand import WITHOUT_LINK, HandVerb
from ohmwright.model.errors import ExcessiveOutput, ReleaseNotConfirmed
from ohmwright.model.event import (
    ActivationClosed,
    ActivationOpened,
    Asked,
    Event,
    Fault,
    RunFinished,
    RunStarted,
    SlowRelease,
)
from ohmwright.model.hardware import DroopData
from ohmwright.model.result import Result
from ohmwright.model.shipped import shipped
from ohmwright.model.step import STAGES, Stage
from ohmwright.reports.certificate import certificate_of
from ohmwright.reports.certificate_text import certificate_text
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.links.memory import MemoryLink

E = TypeVar("E")
pytestmark = pytest.mark.anyio
FOOT: tuple[HandVerb, ...] = ("foot switch",)
ALL: tuple[HandVerb, ...] = (*WITHOUT_LINK, "path")
ATTENDED = shipped("procedures", "attended-marlow.toml")
VERIFY = """
title = "Output"
revision = "1"
model = "Marlow 150"
defaults = { age_s = 6.0, rest_s = 20.0, max_on_s = 20.0 }

[[step]]
kind = "output"
name = "cut"
mode = "cut"
setting_w = 150
load_ohm = 300
power_w = 148.5
tolerance = { percent = 20 }
"""


class Person(SimulatedOperator):
    """A simulated person who may hold the foot switch too long, let go early, or type nonsense."""

    holds_s = 0.0
    """How long they keep it after they were told to release it."""
    lets_go_after_s = inf
    """After so many seconds they let go, the first time."""
    types = ()
    """What they type at first where a reading is asked for."""
    shown_by = RunWatch()
    """What shows them what they are told."""

    def at(self, rig: "Rig") -> None:
        self.rig, self.pressed_s, self.told = rig, 0.0, list[str]()
        self.types = list(self.types)

    async def reply(self, request: Request, problem: str) -> str:
        if isinstance(request, TypeReading) and self.types:
            await self._clock.sleep(3.0)
            return self.types.pop(0)
        said = await super().reply(request, problem)
        if isinstance(request, PressFootSwitch):
            self.pressed_s = self._clock.now_s()
        self.let_go_when_due()
        return said

    def let_go_when_due(self) -> None:
        if 0 < self.pressed_s <= self._clock.now_s() - self.lets_go_after_s:
            self._panel.pedal(down=False)
            self.lets_go_after_s = inf

    async def tell(self, words: str) -> None:
        self.told.append(words)
        self.shown_by.notify(words, self._clock.now_s())
        if words == RELEASE and self.told.count(RELEASE) * 2.0 <= self.holds_s:
            return
        await super().tell(words)

    def take_back(self, words: str) -> None:
        self.shown_by.take_back(words)


@dataclass(frozen=True)
class Rig:
    bench: Bench
    hardware: SimulatedBench
    person: Person

    async def run(self, procedure: Path, stages: tuple[Stage, ...] = ("as_left",)) -> list[Event]:
        self.events: list[Event]
        events: list[Event] = []
        object.__setattr__(self, "events", events)
        async for event in run(Job(read_procedure(procedure), stages, "test"), self.bench):
            assert not self.hardware.truth.rf_on or self.person.holds_s == inf, event
            events.append(event)
        return events


def make(by_hand: tuple[HandVerb, ...], seed: int = 5, person: type[Person] = Person) -> Rig:
    """The attended bench with these verbs by hand; nothing is linked where all are."""
    data = read_bench(shipped("benches", "attended.toml"))
    entry = data.file.analyzer.model_dump() | {"by_hand": by_hand}
    if by_hand == ALL:
        entry["link"] = None
    simulation = {"seed": seed, "age_months": 30}
    file = data.file.model_dump() | {"analyzer": entry, "simulation": simulation}
    data = replace(data, file=BenchFile.model_validate(file))
    clock = VirtualClock()
    hardware = simulated_bench(data, clock)
    at_the_bench = person(hardware.panel, clock, hardware.front)
    link = None if by_hand == ALL else MemoryLink("analyzer", hardware.analyzer_port, clock)
    rig = Rig(assemble_bench(data, clock, link, None, at_the_bench), hardware, at_the_bench)
    at_the_bench.at(rig)
    return rig


@pytest.fixture
def verify(tmp_path: Path) -> Path:
    (tmp_path / "verify.toml").write_text(VERIFY)
    return tmp_path / "verify.toml"


def results(events: list[Event]) -> list[Result]:
    return [event.result for event in events if event.kind == "point_done"]


def of_kind(events: list[Event], kind: type[E]) -> list[E]:
    return [event for event in events if isinstance(event, kind)]


@pytest.mark.parametrize("by_hand", [FOOT, ALL])
async def test_a_whole_calibration_is_told_as_it_was(by_hand: tuple[HandVerb, ...]) -> None:
    rig = make(by_hand)
    events = await rig.run(ATTENDED, STAGES)
    assert isinstance(events[-1], RunFinished)
    who, typed = rig.person.name, by_hand == ALL
    assert rig.person.keyed_by_foot
    assert not make(("reading",)).person.keyed_by_foot
    measured = [r for r in results(events) if r.measured is not None]
    assert len(measured) >= 8
    for result in measured:
        assert (result.keyed_by, result.readings_told_by) == (who, who if typed else None)
        assert result.load_told_by == (who if typed else None)
        lines = {line.source: line.standard_uncertainty for line in result.measured.budget}
        assert lines["age told by a person"] > 0
    assert {e.keyed_by for e in of_kind(events, ActivationOpened)} == {who}
    assert {e.limit_s for e in of_kind(events, ActivationOpened)} == {None}
    assert {e.off_told_by for e in of_kind(events, ActivationClosed)} == {who if typed else None}
    said = " ".join(certificate_text(certificate_of(events, "0" * 64)).protections)
    assert "kept on by a person's foot switch" in said
    assert "NO GUARD" in said
    assert "absent: output state read back" in said
    assert ("absent: load resistance read back" in said) is typed


@pytest.mark.parametrize("by_hand", [FOOT, ALL])
@pytest.mark.parametrize("seed", range(1, 7))
async def test_u_covers_the_true_value(
    verify: Path, by_hand: tuple[HandVerb, ...], seed: int
) -> None:
    rig = make(by_hand, seed)
    (result,) = results(await rig.run(verify))
    true_ma = rig.hardware.truth.lag_free_current_ma(6.0)
    ohm = rig.hardware._rig.plant.bank.steps[300.0].resistance_ohm
    assert result.measured is not None
    assert abs(result.measured.value - (true_ma / 1000) ** 2 * ohm) < result.measured.expanded
    on_s = sum(event.on_s for event in of_kind(rig.events, ActivationClosed))
    assert on_s == pytest.approx(rig.hardware.truth.rf_on_s, abs=6.0 if by_hand == ALL else 1.5)


@pytest.mark.parametrize("by_hand", [FOOT, ALL])
async def test_a_person_who_holds_it_too_long_is_told_again(
    verify: Path, by_hand: tuple[HandVerb, ...]
) -> None:
    rig = make(by_hand)
    rig.person.holds_s = 18.0
    events = await rig.run(verify)
    assert rig.person.told.count(RELEASE) >= 4
    (slow,) = of_kind(events, SlowRelease)
    assert slow.keyed_by == rig.person.name
    assert slow.took_s > 18.0
    (closed,) = of_kind(events, ActivationClosed)
    assert closed.on_s == pytest.approx(rig.hardware.truth.rf_on_s, abs=4.0)
    assert closed.on_s > 20.0, "longer than its limit"
    assert isinstance(events[-1], RunFinished)


async def test_no_current_is_no_off_where_the_load_was_disconnected(verify: Path) -> None:
    """Would notice RF that a foot keeps on, said to be read off by an analyzer that restarted."""
    rig = make(FOOT)
    rig.person.holds_s = inf
    hardware = rig.hardware._rig

    def restart(moment: BenchStatus) -> None:
        if moment.rf == "on" and not hardware.defects.lead_off:
            hardware.defects.lead_off, hardware.load_ohm = True, 50.0
            hardware.plant.retarget(hardware.now_s, hardware.circuit())

    job = Job(read_procedure(verify), ("as_found",), "seen")
    with pytest.raises(ReleaseNotConfirmed, match="50 ohm reads back in place of 300 ohm"):
        async for _ in run(job, rig.bench, restart):
            pass
    assert rig.hardware.truth.rf_on
    assert rig.bench.rf.state == "unknown"


@pytest.mark.parametrize("by_hand", [FOOT, ALL])
async def test_the_call_to_release_is_shown_until_nothing_flows_and_no_longer(
    verify: Path, by_hand: tuple[HandVerb, ...]
) -> None:
    """Nor does anything that was told of RF before stand beside RF that is keyed anew."""
    rig, watch = make(by_hand), RunWatch()
    rig.person.shown_by, rig.person.holds_s = watch, 18.0
    if by_hand == ALL:  # and at the very first look, before any activation
        rig.person.types = ["3000", "0"]
    shown = list[tuple[str, list[str]]]()

    def look(moment: BenchStatus) -> None:
        watch.on_status(moment)
        shown.append((moment.rf, [one.words for one in watch.picture(moment.bench_s).notices]))

    job = Job(read_procedure(verify), ("as_found", "as_left"), "seen")
    async for event in run(job, rig.bench, look):
        watch.on_event(event)
    assert rig.person.told.count(RELEASE) >= 8
    told = [words for rf, notices in shown if rf == "off" for words in notices]
    assert RELEASE not in told
    assert not any("RF MAY STILL BE ON" in words for words in told)
    (is_off,) = {words for words in told if "Where the run goes on" in words}
    by_whom = "RF is off now, as told" if by_hand == ALL else "RF reads off now"
    assert is_off.startswith(f"{by_whom}, ")
    assert is_off.endswith(
        "s after the call to release the foot switch. Where the run goes on, you are asked to "
        "press it again."
    )
    keyed = [words for rf, notices in shown if rf in ("coming on", "on") for words in notices]
    assert not {RELEASE, is_off} & set(keyed)
    assert not rig.bench.rf.off_after_warning, "who presses a foot switch is not asked besides"


def test_power_that_nobody_read_is_said_to_be_by_the_load_that_was_asked_for() -> None:
    opened = Activation(make(ALL).bench, load_ohm=500, power_w=60, limit_s=8)
    with pytest.raises(ExcessiveOutput, match=r"^437 mA read make 95 W by the 500 ohm that was "):
        opened.note_current(437.0)


@pytest.mark.parametrize("by_hand", [FOOT, ALL])
async def test_one_who_never_lets_go_leaves_an_end_that_is_not_confirmed(
    verify: Path, by_hand: tuple[HandVerb, ...]
) -> None:
    rig = make(by_hand)
    rig.person.holds_s = inf
    with pytest.raises(ReleaseNotConfirmed, match="RF MAY STILL BE ON: the meter shows"):
        await rig.run(verify)
    fault = rig.events[-1]
    assert isinstance(fault, Fault)
    assert fault.rf_state != "off"
    assert of_kind(rig.events, ActivationClosed) == []


@pytest.mark.parametrize("by_hand", [FOOT, ALL])
async def test_what_is_let_go_early_is_measured_again(
    verify: Path, by_hand: tuple[HandVerb, ...]
) -> None:
    rig = make(by_hand)
    rig.person.lets_go_after_s = 5.0 if by_hand == ALL else 2.6
    analyzer, fetch = rig.bench.analyzer, rig.bench.analyzer.fetch_current

    async def fetch_current() -> Reading:
        rig.person.let_go_when_due()
        return await fetch()

    analyzer.fetch_current = fetch_current  # type: ignore[method-assign]
    events = await rig.run(verify)
    (result,) = results(events)
    (told,) = [words for words in rig.person.told if words != RELEASE]
    assert "let go before it was time" in told
    assert len(of_kind(events, ActivationOpened)) == len(of_kind(events, ActivationClosed)) == 2
    assert result.verdict == "pass"


ADJUST = (
    VERIFY.partition("[[step]]")[0]
    + """
[[step]]
kind = "adjust"
name = "adjust-p2"
point = "P2"
load_ohm = 2000
current_ma = 165
tolerance = { absolute_ma = 3 }
max_on_s = 30
"""
)


class TypesNoughtOnce(Person):
    """Types a 0 once while RF is on, as by a key that was hit."""

    asked_with_rf_on = 0

    async def reply(self, request: Request, problem: str) -> str:
        with_rf_on = isinstance(request, TypeReading) and not request.rf_to_be_off
        self.asked_with_rf_on += with_rf_on
        if with_rf_on and self.asked_with_rf_on == 3:
            await self._clock.sleep(2.0)
            return "0"
        return await super().reply(request, problem)


async def test_a_nought_typed_once_amid_an_adjustment_fails_no_unit(tmp_path: Path) -> None:
    """It did, by "no output", of a unit whose every other reading was typed at its target."""
    procedure = tmp_path / "adjust.toml"
    procedure.write_text(ADJUST)
    rig = make(ALL, seed=4, person=TypesNoughtOnce)
    (result,) = results(await rig.run(procedure, ("adjust",)))
    assert result.verdict == "pass"
    (told,) = {words for words in rig.person.told if words.startswith("The current had gone")}
    assert "let go before it was time" in told


NEAR_A_LIMIT = VERIFY.replace("power_w = 148.5", "current_ma = 673.5").replace(
    "{ percent = 20 }", "{ absolute_ma = 6 }"
)
TYPED_NEAR_IT = ("663", "670", "665", "670", *("665", "670") * 5)
"""The lower limit is 667.5 mA."""
_WITHDRAWN_SOONER = 50.0


@pytest.fixture
def near_a_limit(tmp_path: Path) -> Path:
    (tmp_path / "near.toml").write_text(NEAR_A_LIMIT)
    return tmp_path / "near.toml"


@pytest.fixture
def _withdrawn_in_virtual_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """An open question is withdrawn by the machine's time, of which tests have less."""
    sooner = SimpleNamespace(move_on_after=lambda s: anyio.move_on_after(s / _WITHDRAWN_SOONER))
    monkeypatch.setattr("ohmwright.instruments.typed_meter.anyio", sooner)


class SlowTypist(Person):
    """Types so many readings in each activation; the question after them stays open."""

    many = 0
    each_s = 3.0

    async def reply(self, request: Request, problem: str) -> str:
        if isinstance(request, PressFootSwitch):
            self.types = list(TYPED_NEAR_IT[: self.many])
        if not isinstance(request, TypeReading) or request.rf_to_be_off:
            return await super().reply(request, problem)
        if self.types:
            await self._clock.sleep(self.each_s)
            return self.types.pop(0)
        await self._clock.sleep(20.0 + self.pressed_s - self._clock.now_s())
        await anyio.sleep_forever()
        return ""


@pytest.mark.usefixtures("_withdrawn_in_virtual_time")
@pytest.mark.parametrize("typed", [0, 1, 2, 3, 4, 12])
async def test_whoever_holds_it_until_told_has_not_let_go(near_a_limit: Path, typed: int) -> None:
    """Also while the question for another reading is open, which is then withdrawn."""
    rig = make(ALL, person=SlowTypist)
    assert isinstance(rig.person, SlowTypist)
    rig.person.many, rig.person.each_s = typed, 3.0 if typed < 5 else 1.3
    events = await rig.run(near_a_limit)
    repeated = len(of_kind(events, ActivationOpened)) > 1
    assert set(rig.person.told) == ({RELEASE, ONCE_MORE} if repeated else {RELEASE})
    assert rig.person.told.count(ONCE_MORE) == repeated == (typed > 3)
    (result,) = results(events)
    assert result.verdict == ("undecided" if typed > 3 else "not measured"), result.reason
    assert typed not in (1, 2, 3) or result.reason == "too few readings of a risen output"
    assert len(result.samples) == typed
    assert list(differing_figures(events)) == []
    assert differing(recomputable(events)[0]) == []


class SlowAtFirst(SlowTypist):
    """Types two readings in the first activation, and enough in the second, which they ask for."""

    many = 2

    async def reply(self, request: Request, problem: str) -> str:
        if isinstance(request, MeasureAgain):
            self.asked, self.many, self.each_s = request.text, 12, 1.3
            return "again"
        return await super().reply(request, problem)


@pytest.mark.usefixtures("_withdrawn_in_virtual_time")
async def test_too_few_typed_readings_are_offered_to_be_measured_again(verify: Path) -> None:
    """The run went on at once, and the point was not measured."""
    rig = make(ALL, person=SlowAtFirst)
    events = await rig.run(verify)
    assert isinstance(rig.person, SlowAtFirst)
    assert rig.person.asked.startswith("Too few readings of a risen output at cut, 150 W: a value")
    (result,) = results(events)
    assert result.verdict == "pass"
    assert len(of_kind(events, ActivationOpened)) == 2
    assert list(missing_requests(events)) == []


async def test_letting_go_during_the_last_reading_is_noticed(verify: Path) -> None:
    """Such a reading is a mean over a time with and without output."""
    rig = make(FOOT)
    analyzer, output_on = rig.bench.analyzer, rig.bench.analyzer.output_on
    calls = list[bool]()

    async def let_go_first() -> bool:
        if not calls:
            rig.hardware.panel.pedal(down=False)
        calls.append(await output_on())
        return calls[-1]

    analyzer.output_on = let_go_first  # type: ignore[method-assign]
    (result,) = results(await rig.run(verify))
    assert calls[0] is False
    assert len(of_kind(rig.events, ActivationOpened)) == 2
    assert result.verdict == "pass"


async def test_nonsense_is_asked_again_and_no_reading(verify: Path) -> None:
    rig = make(ALL)
    rig.person.types = ["off", "", "-3", "1,234", "0.0", "9999", "3000", "0"]
    events = await rig.run(verify)
    asked = [event.answer for event in of_kind(events, Asked) if "meter show" in event.question]
    assert asked[0] == "0 mA"
    assert not {"off mA", "-3 mA", "1,234 mA", "0.0 mA", "9999 mA", "3000 mA"} & set(asked)


async def test_what_is_said_instead_waits_until_nothing_flows(verify: Path) -> None:
    """Stop, typed where it is asked whether RF is off, does not end the release."""
    rig = make(ALL)
    rig.person.types = ["0", *("450",) * 4, "stop"]
    events = await rig.run(verify)
    answers = [event.answer for event in of_kind(events, Asked)]
    assert "stop" in answers
    assert answers[answers.index("stop") + 1] == "0 mA"
    assert isinstance(events[-1], Fault)
    assert events[-1].rf_state == "off"


@pytest.mark.parametrize("by_hand", [FOOT, ALL])
async def test_no_view_calls_rf_off_by_a_newer_look_than_somebody_had(
    by_hand: tuple[HandVerb, ...],
) -> None:
    """Also while a request is open and in rests, in which nobody reads a meter by eye."""
    rig = make(by_hand)
    looked_s, notes, latest = [0.0], set[str](), list[BenchStatus]()
    clock, sleep = rig.bench.clock, rig.bench.clock.sleep
    looker: Any = rig.person if by_hand == ALL else vars(rig.bench.analyzer)["_linked"]
    verb = "reply" if by_hand == ALL else "fetch_current"
    look = getattr(looker, verb)

    async def noted(*asked: Any) -> Any:
        seen = await look(*asked)
        if by_hand == FOOT or isinstance(asked[0], TypeReading):
            looked_s.append(clock.now_s())
        return seen

    async def looking_sleep(duration_s: float) -> None:
        await sleep(duration_s)
        if latest and latest[-1].rf in ("off", "coming on"):
            rf = rf_picture(latest[-1], clock.now_s())
            assert rf.read_s is not None
            assert rf.read_s <= looked_s[-1] + 0.01, rf.line
            assert ("ago" in rf.note or "nothing read for" in rf.note) is rf.stale
            notes.add(rf.note)

    setattr(looker, verb, noted)
    clock.sleep = looking_sleep  # type: ignore[method-assign]
    job = Job(read_procedure(ATTENDED), ("as_found",), "seen")
    async for _ in run(job, rig.bench, latest.append):
        pass
    assert any(note.startswith("nothing read for") for note in notes)


async def test_unattended_a_bench_with_a_foot_switch_is_refused_in_one_line(verify: Path) -> None:
    abilities = replace(abilities_of(make(ALL).bench), attended=False)
    (said,) = complaints(read_procedure(verify), ("as_left",), abilities)
    assert "with the foot switch, so that no run on it can be unattended." in said


async def test_unattended_each_missing_protection_is_named(verify: Path) -> None:
    abilities = replace(abilities_of(make(ALL).bench), attended=False)
    assert abilities.protections is not None
    protections = abilities.protections.model_copy(update={"by_hand": ("load", "path")})
    abilities = replace(abilities, protections=protections)
    (said,) = (
        line
        for line in complaints(read_procedure(verify), ("as_left",), abilities)
        if "nobody may leave this bench while RF is on. It lacks: " in line
    )
    for lacking in (
        *("a time limit that the analyzer keeps", "the guard process"),
        *("read-back of the output's state", "a proof of the line"),
        *("'load' by command", "'path' by command"),
    ):
        assert f"{lacking} (by " in said


def test_a_bench_without_a_link_says_what_a_person_must_do(tmp_path: Path) -> None:
    text = shipped("benches", "attended.toml").read_text()
    bare = text.replace('link = { kind = "simulated" }', 'by_hand = ["load", "path"]')
    (tmp_path / "bench.toml").write_text(bare)
    with pytest.raises(Exception, match="by_hand with 'foot switch', 'reading'"):
        read_bench(tmp_path / "bench.toml")


async def test_the_record_says_from_the_beginning_who_is_at_the_switch(verify: Path) -> None:
    events = await make(FOOT).run(verify)
    (started,) = of_kind(events, RunStarted)
    assert started.protections is not None
    assert started.protections.by_hand == FOOT
    assert started.protections.grade == "by foot switch"


def test_dating_and_coarse_digits_widen_a_value() -> None:
    """GUM 4.3.7, from memory: a limit a has u = a / sqrt(3), a digit d has d / sqrt(12)."""
    droop = DroopData(largest=0.02, tau_s=(5.0, 10.0), recovery_tau_s=(10.0, 20.0))
    analyzer = SimpleNamespace(released_by_hand=True, dating_s=2.0, digit_ma=10.0)
    bench: Any = SimpleNamespace(
        analyzer=analyzer, generator=SimpleNamespace(data=SimpleNamespace(droop=droop))
    )
    known = Settled(500.0, 1.0, 5.0, 0.0, settled=True, scatter=0.5)
    wider = dated(known, bench)
    assert wider.dating == pytest.approx(500.0 * 0.02 / 5.0 * 2.0 / 3**0.5)
    assert wider.scatter == pytest.approx(10.0 / 12**0.5)
    added = wider.uncertainty**2 - known.uncertainty**2
    assert added == pytest.approx(wider.dating**2 + 100.0 / 12 - 0.25)
    analyzer.released_by_hand = False
    assert dated(known, bench) == known


class Unable(Person):
    """Whoever is asked for the cause cannot tell it."""

    async def reply(self, request: Request, problem: str) -> str:
        if isinstance(request, LookForCause):
            self.asked_for_cause = request.text
            return "unknown"
        return await super().reply(request, problem)


@pytest.mark.parametrize("scaled", [False, True])
async def test_no_current_proves_off_only_after_one_that_is_due(
    tmp_path: Path, in_ampere: Callable, scaled: bool
) -> None:
    """With a foot switch nothing but a current shows RF: in the wrong unit it never would."""
    rig, seen = make(FOOT, person=Unable), list[BenchStatus]()
    if scaled:
        in_ampere(rig.bench.analyzer._linked)
    file = tmp_path / "verify.toml"
    file.write_text(VERIFY)
    job = Job(read_procedure(file), ("as_left",), "test")
    async for _ in run(job, rig.bench, seen.append):
        pass
    states = [status.rf for status in seen]
    assert states[0] == "not proved"
    assert "off" not in states[: states.index("on")]
    assert ("off" in states) != scaled
    assert (states[-1], rig.bench.rf.state) == (
        ("not proved", "unknown") if scaled else ("off", "off")
    )
    picture = rf_picture(seen[-1], seen[-1].bench_s)
    assert (picture.words == "RF OFF", picture.urgency == "calm") == (not scaled, not scaled)
    said = rig.bench.rf._state.text()
    assert said.startswith("RF MAY STILL BE ON" if scaled else "RF was last read back as off")


@pytest.mark.parametrize("word", ["stop", "back"])
async def test_where_a_command_keys_rf_what_is_said_instead_waits_too(
    verify: Path, word: str
) -> None:
    """Would notice a release that ends by a word before the typed current has been given."""
    rig = make(("reading",))
    rig.person.types = ["0", *("450",) * 4, word]
    events = await rig.run(verify)
    kinds = [e.answer if isinstance(e, Asked) else e.kind for e in events]
    after = kinds[kinds.index(word) + 1 :]
    assert after.index("0 mA") < after.index("activation_closed")


class Hasty(Unable):
    """Leaves a digit out of one reading, well after the output has risen."""

    count = 0
    asked_for_cause = ""

    async def reply(self, request: Request, problem: str) -> str:
        said = await super().reply(request, problem)
        if isinstance(request, TypeReading) and not request.rf_to_be_off:
            self.count += 1
            if self.count == 4:
                return "4"
        return said


async def test_who_left_a_digit_out_is_led_to_what_was_typed(near_a_limit: Path) -> None:
    """It reads as a current that came and went; lead and contact are all in order then."""
    rig = make(WITHOUT_LINK, person=Hasty)
    await rig.run(near_a_limit, ("as_left",))
    asked = rig.bench.operator.asked_for_cause
    assert "the current came and went" in asked.lower()
    assert "the readings as you typed them" in asked
