"""The client's clock of a stepped bench, over a link in memory."""

from datetime import timedelta

import anyio
import pytest

from ohmwright.model.errors import LinkTimeout, ProtocolError
from ohmwright.simulator.bench_ports import control_port
from ohmwright.simulator.remote_clock import SteppedClock
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.links.memory import MemoryLink

from .conftest import Make


@pytest.mark.anyio
async def test_both_clocks_agree_to_the_digit(make: Make) -> None:
    bench = make()
    bench.clock.advance(12.3)
    link = MemoryLink("control", control_port(bench), VirtualClock())
    clock = await SteppedClock.connect(link)
    for duration_s in (0.1, 0.1, 0.1, 1e-9, 30.0, 0.0):
        await clock.sleep(duration_s)
        assert clock.now_s() == bench.clock.now_s()
    assert clock.wall() == bench.clock.wall()


@pytest.mark.anyio
async def test_where_the_bench_is_served_anew_the_day_goes_on(make: Make) -> None:
    clock = await SteppedClock.connect(MemoryLink("control", control_port(make()), VirtualClock()))
    before = clock.wall()
    clock.go_on_after(before + timedelta(minutes=9))
    await clock.sleep(1.0)
    clock.go_on_after(before)
    assert clock.wall() == before + timedelta(minutes=9, seconds=1)
    assert clock.now_s() == 1.0


@pytest.mark.anyio
async def test_a_cancelled_sleep_leaves_no_reply_behind(make: Make) -> None:
    bench = make()
    link = MemoryLink("control", control_port(bench), VirtualClock())
    clock = await SteppedClock.connect(link)
    with anyio.CancelScope() as scope:
        scope.cancel()
        await clock.sleep(5.0)
    assert scope.cancelled_caught
    await clock.sleep(1.0)
    assert clock.now_s() == bench.clock.now_s()


@pytest.mark.anyio
async def test_not_a_control_port(make: Make) -> None:
    bench = make()
    deaf = MemoryLink("analyzer", bench.analyzer_port, VirtualClock())
    with pytest.raises(LinkTimeout, match="did not answer"):
        await SteppedClock.connect(deaf)
    other = MemoryLink("other", lambda _: b"hello\n", VirtualClock())
    with pytest.raises(ProtocolError, match="not the control port"):
        await SteppedClock.connect(other)
