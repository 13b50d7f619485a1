"""A unit whose port answers slowly while its trim is moved with RF on: RF is watched meanwhile."""

from collections.abc import Callable
from contextlib import suppress

import anyio
import pytest

from ohmwright.engine import trim_actuator
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.model.errors import OhmwrightError
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
