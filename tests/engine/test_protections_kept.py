"""Protections that nothing else would miss: each test fails where one of them is left out."""

from collections.abc import Callable
from contextlib import asynccontextmanager
from types import MethodType
from typing import Any

import pytest

from ohmwright.engine.activation import (
    LAST_LOOK_S,
    RELEASE_BOUND_S,
    activation,
    begin_off,
)
from ohmwright.engine.run import Job, run
from ohmwright.engine.session import Session
from ohmwright.instruments.analyzer import Analyzer, GuardProof
from ohmwright.instruments.conformance import OFF_LIMIT_S, Kit, guard_opens_the_output
from ohmwright.model import last_of_rf
from ohmwright.model.errors import LinkTimeout
from ohmwright.model.event import Event, ProtectionProved
from ohmwright.model.procedure import Timing
from ohmwright.model.procedure_file import read_procedure
from ohmwright.model.shipped import shipped
from ohmwright.wire.clock import VirtualClock

pytestmark = pytest.mark.anyio
MONOPOLAR = shipped("procedures", "demo-monopolar.toml")


async def until(wanted: int, kind: type[Event], rig: Any, **job: Any) -> list[Event]:
    """The events of an as-found run up to the one of `kind` with the number `wanted`."""
    events: list[Event] = []
    given = Job(read_procedure(MONOPOLAR), ("as_found",), "test", **job)
    async for event in run(given, rig.bench):
        events.append(event)
        if sum(isinstance(one, kind) for one in events) == wanted:
            break
    return events


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
    assert RELEASE_BOUND_S + LAST_LOOK_S <= 11


class _Proving:
    """An analyzer whose guard says this of its proof."""

    def __init__(self, proof: GuardProof) -> None:
        self._proof = proof

    async def prove_watchdog(self) -> GuardProof:
        return self._proof


@pytest.mark.parametrize(
    ("proof", "says"),
    [
        (GuardProof(False, 0.1), "ON did not read back as on"),
        (GuardProof(True, OFF_LIMIT_S), "no sooner than by its limit"),
        (GuardProof(True, 0.3), None),
    ],
)
async def test_a_guard_is_proved_only_by_a_closed_output_opened_before_its_limit(
    proof: GuardProof, says: str | None
) -> None:
    @asynccontextmanager
    async def activate(*_: float) -> Any:
        yield

    analyzer: Analyzer = _Proving(proof)  # type: ignore[assignment]
    problem = await guard_opens_the_output(Kit(analyzer, VirtualClock(), activate, 300))
    assert (problem is None) if says is None else (says in (problem or ""))


async def test_rf_is_in_doubt_from_before_on_is_sent(make_rig: Callable[..., Any]) -> None:
    """A crash while ON is on its way must not say that RF was last read back as off."""
    rig = make_rig()
    await begin_off(rig.bench)
    assert rig.bench.rf.state == "off"
    seen: list[tuple[str, bool]] = []

    async def lost_on_its_way(limit_s: float) -> None:
        seen.append((rig.bench.rf.state, last_of_rf.is_unknown()))
        raise LinkTimeout(f"no answer to ON for {limit_s:g} s")

    rig.bench.analyzer.switch_on = lost_on_its_way
    with pytest.raises(LinkTimeout):
        async with activation(rig.bench, load_ohm=300, power_w=100, limit_s=5):
            pytest.fail("the block was entered")
    assert seen == [("unknown", True)]
    assert (rig.bench.rf.state, last_of_rf.is_unknown()) == ("off", False)


async def test_after_a_release_the_guard_is_promised_nothing(make_rig: Callable[..., Any]) -> None:
    """Else its OFF would come in a rest, as a fault that is none."""
    rig = make_rig()
    promised: list[float | None] = []
    link = rig.bench.analyzer.dialogue.framing.link

    async def expect_traffic(every_s: float | None) -> None:
        promised.append(every_s)

    link.expect_traffic = expect_traffic
    await begin_off(rig.bench)
    async with activation(rig.bench, load_ohm=300, power_w=100, limit_s=5):
        assert promised[-1] is not None
    assert promised[-1] is None


async def test_any_state_but_0_is_noticed_in_a_rest(make_rig: Callable[..., Any]) -> None:
    """Little or nothing flows as yet; the contact alone tells."""
    rig = make_rig()
    await begin_off(rig.bench)
    link = rig.bench.analyzer.dialogue.framing.link
    handle = link._handle
    assert not await rig.bench.rf.seems_on()
    link._handle = lambda line: b"2\n" if line.endswith(b"STATe?\n") else handle(line)
    assert await rig.bench.rf.seems_on()


async def test_in_a_rest_a_contact_that_reads_2_is_opened(make_rig: Callable[..., Any]) -> None:
    rig = make_rig()
    session, looks = Session(rig.bench), 0
    await begin_off(rig.bench)
    async with session.activation(load_ohm=500, power_w=300, limit_s=10):
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

    session.on_moment = look
    await session.rest(Timing(rest_s=20), power_w=100, tolerance=0)
    (_, _), (on_s, off_s) = rig.hardware.truth.rf_on_intervals
    assert off_s is not None
    assert off_s - on_s < 4
