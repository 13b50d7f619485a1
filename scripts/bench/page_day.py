"""A day's readings in fast forward through the page: does its memory grow, does it slow?

864,000 readings, 10 a second of the bench's time, with a result each minute, are given to the desk
as an engine gives them, far faster than at a bench; the whole way from there is the real one:
pictures, stream, browser, plot.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import anyio
from playwright.sync_api import Page

from ohmwright.model.bench_status import BenchStatus, TargetBand
from ohmwright.model.event import PointDone, RunResumed
from ohmwright.model.result import Result
from ohmwright.page.desk import Desk
from ohmwright.wire.clock import VirtualClock

_RATE_PER_S = 10.0
"""Of readings, in the bench's time."""
_TICK_S, _A_TICK = 0.05, 300
"""Readings are given in portions, so many at a time, in real time."""
_MEASURED_S = 5.0
_AIM = TargetBand(886.0, 900.0, 914.0)
Frames = Callable[[Page, float], tuple[float, float]]


async def feed(desk: Desk, readings: int) -> None:
    """Give `desk` so many readings."""
    clock = VirtualClock()
    desk.clock, desk.state = clock, "going on"
    at = datetime(2026, 1, 5, 8, tzinfo=UTC)
    desk.on_event(RunResumed(at=at, bench_s=0.0, operator="the bench", done=0))
    for n in range(readings):
        clock.advance(1 / _RATE_PER_S)
        now_s = clock.now_s()
        age_s = n % 250 / _RATE_PER_S
        current_ma = 900.0 + 20.0 * ((n * 7919) % 101 / 100 - 0.5)
        desk.on_status(
            BenchStatus("on", now_s, None, age_s, 30 - age_s, current_ma=current_ma, aim=_AIM)
        )
        if n % 600 == 0:
            point = f"{n // 600} min"
            result = Result(
                stage="as_found", step="day", point=point, kind="output", verdict="pass"
            )
            desk.on_event(PointDone(at=at, bench_s=now_s, result=result))
        if n % _A_TICK == _A_TICK - 1:
            await anyio.sleep(_TICK_S)
    desk.state = "idle"
    desk.changes += 1


def day(
    page: Page,
    readings: int,
    begin: Callable[[], None],
    frames: Frames,
    heap: Callable[[Page], float],
) -> dict[str, float]:
    """Return heap and frames near the beginning and the end of a day's readings.

    `begin` has them given to bench 1, which `page` shows from then on.
    """
    page.evaluate("location.hash = '#/bench/1'")
    begin()
    page.locator(".one-bench .rf[data-look=on]").wait_for(timeout=60_000)
    page.wait_for_timeout(3000)
    first = _look(page, frames, heap)
    until_s = readings / _A_TICK * _TICK_S
    page.wait_for_timeout(1000 * max(0.0, until_s - 4 * _MEASURED_S - 5))
    last = _look(page, frames, heap)
    page.locator(".one-bench .rf[data-look=idle]").wait_for(timeout=600_000)
    end_mb = heap(page)
    return {
        "day_readings": float(readings),
        "day_frame_ms_begin": first[0],
        "day_frame_ms_end": last[0],
        "day_longest_frame_ms_end": last[1],
        "day_heap_mb_begin": first[2],
        "day_heap_mb_end": max(last[2], end_mb),
    }


def _look(page: Page, frames: Frames, heap: Callable[[Page], float]) -> tuple[float, float, float]:
    """Return the mean time of a frame and the longest, in ms, and the heap in MB."""
    rate, longest_ms = frames(page, _MEASURED_S)
    return 1000 / rate, longest_ms, heap(page)
