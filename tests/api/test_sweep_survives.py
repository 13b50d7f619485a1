"""A sweep loses no finished point, whatever ends it, and measures none twice."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from ohmwright import Records, Sweep
from ohmwright.api import sweep_run
from ohmwright.api.async_bench import AsyncBench
from ohmwright.api.bench_data import read_bench
from ohmwright.api.sweep_run import SweepRun
from ohmwright.model.errors import LinkError, ReleaseNotConfirmed
from ohmwright.model.event import Event, PointDone, RunFinished
from ohmwright.simulator.faults import LineFault
from scripts import sweep_cuts

pytestmark = pytest.mark.anyio
PLAN = Sweep(
    modes={"cut": (20, 40, 60), "coag": (20, 40, 60)},
    loads_ohm=(200, 500),
    repeats=2,
    order="random",
    rest_s=0,
    on_fault="go on",
)


def check_whole(records: str, points: int) -> None:
    """Each point has one result, in one finished and sealed run."""
    (run_id,) = Records(records)
    run = Records(records)[run_id]
    done = Counter(e.result.point for e in run.events if isinstance(e, PointDone))
    assert set(done.values()) == {1}
    assert len(done) == len(run.curve) == points
    assert isinstance(run.events[-1], RunFinished)
    assert all(point.settled for point in run.curve)


@pytest.mark.parametrize("way", ["kill", "disk", "stop"])
def test_a_sweep_cut_short_at_every_point_goes_on_with_the_rest(way: str, tmp_path: Path) -> None:
    assert sweep_cuts.tried(way, 12, tmp_path)


def done_so_far(records: str) -> set[str]:
    if not Path(records).exists():
        return set()
    events = Records(records)["last"].events
    return {event.result.point for event in events if isinstance(event, PointDone)}


async def test_a_line_that_is_lost_is_opened_anew_or_the_sweep_ends_with_its_points_kept(
    bench_file: Path, records: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sweep_run, "_PAUSES_S", (0.0, 0.0, 0.0))
    plan: Sweep | None = PLAN
    data, reopened, ended = read_bench(bench_file), 0, list[str]()
    reopen = AsyncBench.reopen

    async def counted(self: AsyncBench) -> None:
        nonlocal reopened
        reopened += 1
        # another message each time: the generator's with RF off, the analyzer's mostly with RF on
        line, at = ("analyzer", 900) if reopened % 3 == 0 else ("generator", 20)
        fault = LineFault("unplug", "message", "ever", at + 7 * reopened, line)
        self.data = replace(data, faults=(fault,))
        await reopen(self)

    monkeypatch.setattr(AsyncBench, "reopen", counted)
    for _ in range(60):
        bench = AsyncBench(data, None, guarded=False)
        await bench.reopen()
        try:
            if plan is not None:
                await bench.measure(plan, records=records)
            else:
                await bench.resume(records=records)
            break
        except (LinkError, ReleaseNotConfirmed) as lost:
            ended.append(type(lost).__name__)
            plan = None
        finally:
            await bench.close()
    assert "ReleaseNotConfirmed" in ended, "lost with RF on: nobody may go on by himself"
    assert reopened > len(ended) + 1, "never opened anew"
    check_whole(records, 24)


async def test_who_was_warned_of_rf_is_asked_on_a_line_opened_anew_too(bench_file: Path) -> None:
    bench = AsyncBench(read_bench(bench_file), None, guarded=False)
    await bench.reopen()
    try:
        before = bench.instruments.rf
        before.off_after_warning = "RF reads off now, 4 s after OFF"
        job, unused = cast(Any, SimpleNamespace(earlier=())), cast(Any, None)
        await SweepRun(bench, PLAN, job, unused, unused)._reopen(0.0)
        assert bench.instruments.rf is not before
        assert bench.instruments.rf.off_after_warning == before.off_after_warning
    finally:
        await bench.close()


PROGRAM = """
import sys, ohmwright
plan = ohmwright.Sweep(modes={"cut": (20, 40)}, loads_ohm=(200, 300, 500, 1000), rest_s=0)
with ohmwright.bench(sys.argv[1], guarded=False) as bench:
    for point in bench.points(plan, records=sys.argv[2]):
        print(point.load_ohm, flush=True)
"""


def test_after_a_sigkill_resume_does_only_the_rest(bench_file: Path, records: str) -> None:
    command = [sys.executable, "-c", PROGRAM, str(bench_file), records]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None
        seen = [program.stdout.readline() for _ in range(3)]
        program.send_signal(signal.SIGKILL)
    kept = done_so_far(records)
    assert len(kept) >= len(seen) == 3
    import ohmwright

    measured: list[str] = []

    def note(event: Event) -> None:
        if isinstance(event, PointDone):
            measured.append(event.result.point)

    with ohmwright.bench(bench_file) as bench:
        curve = bench.resume(records=records, on_event=note)
    assert len(curve) == 8
    assert kept.isdisjoint(measured)
    assert len(measured) == 8 - len(kept)
