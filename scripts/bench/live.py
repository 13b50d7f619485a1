"""What the live view costs: its share of one core, beside one second of the same core's arithmetic.

    python scripts/bench/live.py [--frames 200]

A run with ten readings a second is drawn four times a second, at 80 by 24 and at 120 by 40. The
processor time of the readings and frames of that many seconds, over those seconds, is the share.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable
from datetime import UTC, datetime
from io import StringIO
from math import exp, sin
from time import process_time

from rich.console import Console, Group
from rich.live import Live

from ohmwright.api.run_plan import PlannedPoint
from ohmwright.api.run_view import RunWatch
from ohmwright.cli.screen.fitting import Extent
from ohmwright.cli.screen.layout import screen
from ohmwright.model.bench_status import BenchStatus, TargetBand
from ohmwright.model.cue import Cue
from ohmwright.model.event import PointDone, RunResumed, StageStarted, StepStarted
from ohmwright.model.result import Result

_FRAMES_PER_S, _READINGS_PER_S = 4.0, 10.0
_BAND = TargetBand(886.0, 900.0, 914.0)
_CUE = Cue("press", "Press coarse up 2 times.", "coarse", "up", 2, "One press was seen.")


def watch_of_a_long_run() -> RunWatch:
    """Return the view of a run with 500 results, in an adjustment."""
    now = {"at": datetime(2026, 1, 1, tzinfo=UTC), "bench_s": 0.0}
    plan = [PlannedPoint("as_left", "curve", str(i), "output", 30.0) for i in range(600)]
    watch = RunWatch(plan)
    watch.on_event(RunResumed(**now, operator="bench", done=0))
    for i in range(500):
        result = Result(stage="as_left", step="curve", point=str(i), kind="output", verdict="pass")
        watch.on_event(PointDone(**now, result=result))
    watch.on_event(StageStarted(**now, stage="as_left"))
    watch.on_event(StepStarted(**now, stage="as_left", step="curve"))
    return watch


def share_of_core(frames: int, columns: int, rows: int) -> float:
    """Return processor seconds per second of a run that is shown."""
    watch = watch_of_a_long_run()
    console = Console(
        file=StringIO(), force_terminal=True, color_system="standard", width=columns, height=rows
    )
    now_s = 100.0

    def drawn() -> Group:
        return Group(
            *screen(watch.picture(now_s), Extent(columns - 1, rows - 1), "space or q stops")
        )

    live = Live(get_renderable=drawn, console=console, auto_refresh=False, transient=True)
    seconds = frames / _FRAMES_PER_S
    with live:
        begun_s = process_time()
        for reading in range(round(seconds * _READINGS_PER_S)):
            now_s = 100.0 + reading / _READINGS_PER_S
            current_ma = 893 - 60 * exp(-reading / 40) + sin(reading)
            watch.on_status(
                BenchStatus("on", now_s, None, now_s - 100, 40.0, current_ma, _BAND, cue=_CUE)
            )
            if reading * _FRAMES_PER_S % _READINGS_PER_S < _FRAMES_PER_S:
                live.refresh()
        return (process_time() - begun_s) / seconds


def arithmetic_s() -> float:
    """Return the processor seconds of a million additions, for comparison with other machines."""
    begun_s, total = process_time(), 0
    for i in range(1_000_000):
        total += i
    return process_time() - begun_s


def main() -> None:
    """Print the table and the JSON line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--frames", type=int, default=400)
    frames: int = parser.parse_args().frames
    figures: dict[str, Callable[[], float]] = {
        "share_80x24": lambda: share_of_core(frames, 80, 24),
        "share_120x40": lambda: share_of_core(frames, 120, 40),
        "million_additions_s": arithmetic_s,
    }
    said = {name: measure() for name, measure in figures.items()}
    for name, value in said.items():
        print(f"{name:24} {value:7.4f}")
    print(json.dumps({"bench": "live"} | said))


if __name__ == "__main__":
    main()
