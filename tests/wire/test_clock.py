"""A running clock goes on by itself, at its rate, and never jumps when that is changed."""

from __future__ import annotations

from datetime import timedelta

import pytest

from ohmwright.wire import clock as clock_module
from ohmwright.wire.clock import RunningClock, VirtualClock


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.mark.anyio
async def test_it_passes_at_its_rate_from_the_date_of_any_virtual_clock(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    real_s, slept_s = 1000.0, list[float]()

    async def asleep(duration_s: float) -> None:
        nonlocal real_s
        real_s += duration_s
        slept_s.append(duration_s)

    monkeypatch.setattr(clock_module, "elapsed_s", lambda: real_s)
    monkeypatch.setattr(clock_module.anyio, "sleep", asleep)
    clock = RunningClock()
    assert (clock.now_s(), clock.wall()) == (0.0, VirtualClock().wall())
    real_s += 3.0
    clock.rate = 10.0
    assert clock.now_s() == 3.0
    await clock.sleep(5.0)
    assert (clock.now_s(), slept_s) == (8.0, [0.5])
    clock.rate = 1.0
    real_s += 2.0
    assert clock.now_s() == 10.0
    clock.advance(1.0)
    assert clock.now_s() == 11.0
    assert clock.wall() - VirtualClock().wall() == timedelta(seconds=11)
