"""A sweep of 120 points, cut short at every one of them: nothing lost, nothing measured twice.

python scripts/sweep_cuts.py [--points 120] [--only kill|disk|stop|line]

In virtual time. `kill`: the program is gone after an event; `disk`: the disk is full from an event
on; `stop`: a person stops it; `line`: the analyzer's line is gone from a message on, mostly with RF
on. Each part is cut one point later than the one before, at the kinds of events of a point in turn.
Prints what was counted; ends with 1 where one thing does not hold.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory
from unittest.mock import patch

import anyio

from ohmwright import Records, Sweep
from ohmwright.api.async_bench import AsyncBench
from ohmwright.api.bench_data import BenchData, read_bench
from ohmwright.model.errors import LinkError, RecordError, RfUnsafe, Stopped
from ohmwright.model.event import Event, PointDone, RunFinished
from ohmwright.model.shipped import shipped
from ohmwright.records.sql_store import SqlStore
from ohmwright.simulator.faults import LineFault

KINDS = ("kill", "disk", "stop", "line")
_LOADS_OHM = (100, 150, 200, 300, 400, 500, 600, 800, 1000, 2000)
_POINT_EVENTS = (("activation_opened", 1), ("activation_closed", 1), ("point_done", 0))
"""What is cut at in turn, and how many of its kind are let through: each part finishes a point."""
_MESSAGES = range(5, 400, 23)
"""Where the line is lost, in messages of a part: before, in and after its first points."""


class Killed(BaseException):
    """The program is gone: nothing more is done."""


@dataclass
class Cut:
    """Cuts a part short at an event of its kind, by one way of ending."""

    way: str
    at: str
    after: int = 0
    """How many events of that kind are let through."""
    met: bool = False
    scope: anyio.CancelScope = field(default_factory=anyio.CancelScope)

    @contextmanager
    def armed(self) -> Iterator[None]:
        """Cut what is stored within the block; a cancelled part ends at its end."""
        append = SqlStore.append

        def cutting(store: SqlStore, run_id: str, event: Event) -> None:
            now = not self.met and event.kind == self.at
            if now and self.after:
                self.after, now = self.after - 1, False
            if now and self.way == "disk":
                self.met = True
                with store.database.write() as connection:
                    connection.exec_driver_sql("PRAGMA max_page_count = 1")  # no page more
            append(store, run_id, event)
            if now:
                self.met = True
                if self.way == "kill":
                    raise Killed
                if self.way == "stop":
                    self.scope.cancel()

        with patch.object(SqlStore, "append", cutting), self.scope:
            yield


def cuts(way: str) -> Iterator[tuple[Cut, LineFault | None]]:
    """Yield one cut after another, without end: at each kind of event in turn."""
    for number in count():
        if way == "line":
            # a run whose line is lost before it began is over: the first part is to begin
            at = _MESSAGES[number % len(_MESSAGES)] if number else _MESSAGES[-1]
            yield Cut("", ""), LineFault("unplug", "message", "ever", at)
        else:
            kind, after = _POINT_EVENTS[number % len(_POINT_EVENTS)]
            yield Cut(way, kind, after), None


def finished_points(records: str) -> dict[str, float]:
    """Return the power in W of each point on record, whose name is there once."""
    if not Path(records).exists() or not list(Records(records)):
        return {}
    done = [e.result for e in Records(records)["last"].events if isinstance(e, PointDone)]
    again = [name for name, often in Counter(one.point for one in done).items() if often > 1]
    if again:
        raise AssertionError(f"measured twice: {again}")
    return {one.point: one.measured.value for one in done if one.measured is not None}


async def one_part(data: BenchData, plan: Sweep | None, records: str, cut: Cut) -> bool:
    """Measure on until the cut; return whether the sweep is at its end."""
    bench, whole = AsyncBench(data, None, guarded=False), False
    await bench.reopen()
    try:
        with cut.armed():
            if plan is not None:
                await bench.measure(plan, records=records)
            else:
                await bench.resume(records=records)
            whole = True
    except (Killed, RecordError, LinkError, RfUnsafe, Stopped):
        pass
    finally:
        await bench.close()
    return whole


async def swept(way: str, plan: Sweep, records: str) -> tuple[int, Counter[int]]:
    """Carry a sweep out in parts; return their number, and after how many points each was cut."""
    data, parts, cut_at = read_bench(shipped("benches", "demo.toml")), 0, Counter[int]()
    before: dict[str, float] = {}
    for cut, fault in cuts(way):
        faulty = data if fault is None else replace(data, faults=(fault,))
        whole = await one_part(faulty, None if parts else plan, records, cut)
        parts += 1
        after = finished_points(records)
        if any(after.get(point) != value for point, value in before.items()):
            raise AssertionError(f"part {parts}: a finished point is lost or was measured again")
        if whole:
            break
        cut_at[len(after)] += 1
        before = after
    return parts, cut_at


def tried(way: str, points: int, folder: Path) -> bool:
    """Print what one way of ending came to; return whether it held."""
    plan = Sweep(
        modes={"cut": (20, 40, 60), "coag": (20, 40, 60)},
        loads_ohm=_LOADS_OHM[: points // 12],
        repeats=2,
        order="random",
        rest_s=0,
    )
    records = str(folder / way)
    try:
        parts, cut_at = anyio.run(partial(swept, way, plan, records))
    except AssertionError as problem:
        print(f"{way}: does not hold: {problem}")
        return False
    (run_id,) = Records(records)
    events = Records(records)[run_id].events
    total = len(finished_points(records))
    held = total == len(plan.points()) and isinstance(events[-1], RunFinished)
    print(
        f"{way}: {parts} parts, cut with {len(cut_at)} different numbers of points on record; "
        f"{total} of {len(plan.points())} points there, each once: "
        f"{'held' if held else 'DOES NOT HOLD'}",
        flush=True,
    )
    return held


def main() -> int:
    """Try each way; return 1 where one does not hold."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--points", type=int, default=120, help="a multiple of 12, at most 120")
    parser.add_argument("--only", choices=KINDS, action="append")
    asked = parser.parse_args()
    with TemporaryDirectory() as folder:
        held = [tried(way, asked.points, Path(folder)) for way in asked.only or KINDS]
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())
