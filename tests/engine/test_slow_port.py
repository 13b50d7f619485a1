"""A unit whose port answers slowly while its trim is moved with RF on: RF is watched meanwhile."""

from collections.abc import Callable
from contextlib import suppress
from types import SimpleNamespace
from typing import Any

import anyio
import pytest

from ohmwright.adjustment.actions import Move
from ohmwright.engine import trim_actuator
from ohmwright.engine.activation import Activation
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.session import Session
from ohmwright.engine.trim_actuator import TrimActuator
from ohmwright.instruments.analyzer import Reading
from ohmwright.model.errors import LinkLost, OhmwrightError
from ohmwright.model.shipped import shipped

from .conftest import Rig

pytestmark = pytest.mark.anyio
MONOPOLAR = shipped("procedures", "demo-monopolar.toml")


async def test_the_current_is_read_while_a_slow_port_moves_the_trim(
    make_rig: Callable[..., Rig], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Else a guard that hears nothing sends OFF, and a busy computer is blamed."""
    monkeypatch.setattr(trim_actuator, "_LOOK_EVERY_S", 0.01)
    rig = make_rig()
    port, move_trim = rig.hardware.analyzer_port, rig.bench.generator.move_trim
    moves, moving, readings = 0, False, 0

    def heard(line: bytes) -> bytes:
        nonlocal readings
        readings += moving and line.startswith(b"FETCh:CURRent")
        return port(line)

    async def slow_move(counts: int) -> int:
        nonlocal moves, moving
        moves, moving = moves + 1, rig.hardware.truth.rf_on
        await anyio.sleep(0.1)
        moving = False
        if moves == 3:
            raise OhmwrightError("It has been seen.")
        return await move_trim(counts)

    rig.bench.analyzer.dialogue.framing.link._handle = heard
    rig.bench.generator.move_trim = slow_move
    with suppress(OhmwrightError):
        async for _ in run(Job(read_procedure(MONOPOLAR), ("adjust",), "test"), rig.bench):
            pass
    assert moves == 3
    assert readings > 3


def moving(rig: Rig) -> tuple[TrimActuator, Activation]:
    """A point whose trim is moved by the port while RF is taken to be on."""
    policy: Any = SimpleNamespace(moved=lambda *_: None)
    actuator = TrimActuator(Session(rig.bench), policy, "cut current", 0)
    return actuator, Activation(rig.bench, load_ohm=50, power_w=150, limit_s=600)


async def test_a_line_that_fails_meanwhile_is_no_move_to_nought(
    make_rig: Callable[..., Rig], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(trim_actuator, "_LOOK_EVERY_S", 0.01)
    rig = make_rig()

    async def never(counts: int) -> int:
        await anyio.sleep_forever()
        return counts

    async def lost() -> Reading:
        raise LinkLost("The line is lost.")

    monkeypatch.setattr(rig.bench.generator, "move_trim", never)
    monkeypatch.setattr(rig.bench.analyzer, "fetch_current", lost)
    actuator, opened = moving(rig)
    with anyio.fail_after(5), pytest.raises(LinkLost):
        await actuator.carry_out(Move(5), opened)


async def test_the_guard_is_told_how_seldom_is_looked_meanwhile_and_no_longer(
    make_rig: Callable[..., Rig], monkeypatch: pytest.MonkeyPatch
) -> None:
    rig, promised = make_rig(), list[float]()

    async def begin_watch(silent_s: float = 0.0) -> None:
        promised.append(silent_s)

    async def at_once(counts: int) -> int:
        return counts

    monkeypatch.setattr(rig.bench.analyzer, "begin_watch", begin_watch)
    monkeypatch.setattr(rig.bench.generator, "move_trim", at_once)
    actuator, opened = moving(rig)
    assert await actuator.carry_out(Move(5), opened)
    assert promised == [trim_actuator._LOOK_EVERY_S, 0.0]


async def test_no_move_begins_that_would_outlast_the_limit(make_rig: Callable[..., Rig]) -> None:
    """A unit that took 0.8 s an answer kept RF on until its limit ended it."""
    rig, moved = make_rig(), list[int]()
    clock = rig.bench.clock

    async def slowly(counts: int) -> int:
        await clock.sleep(2.4)
        moved.append(counts)
        return counts

    rig.bench.generator.move_trim = slowly
    actuator, opened = moving(rig)
    assert await actuator.carry_out(Move(5), opened)
    await clock.sleep(opened.left_s - 2.0)
    assert not await actuator.carry_out(Move(1), opened)
    assert await actuator.carry_out(Move(2), None), "with RF off there is time"
    assert moved == [5, 2]
