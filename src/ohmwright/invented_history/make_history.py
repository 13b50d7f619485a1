"""Five years of visits in the order of their dates, kept in a store like any other run."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from secrets import token_hex

from ohmwright.model.event import Event, PointDone, RunFinished
from ohmwright.model.result import Verdict
from ohmwright.records.run_number import NUMBER_TIME
from ohmwright.records.sql_store import SqlStore
from ohmwright.simulator.randomness import Randomness

from .bench_day import BenchHardware, bench_day, procedure_of, profile_of
from .fleet import InventedUnit
from .unit_state import AgeingUnit
from .visit import Visit

OnVisit = Callable[[int, int], None]
"""Told how many visits are done, and of how many."""


@dataclass(frozen=True)
class MadeHistory:
    """What was made."""

    units: tuple[InventedUnit, ...]
    run_ids: tuple[str, ...]
    """In the order of their dates."""
    verdicts: Counter[Verdict]
    found_out: int
    """Runs with a point that was out of tolerance as found."""


def make_history(
    store: SqlStore, units: Sequence[InventedUnit], seed: int, on_visit: OnVisit
) -> MadeHistory:
    """Put all visits of `units` on record; each run is signed.

    `seed`: of the bench and of what is drawn on each day. Raises RecordError where the store cannot
    keep it, as where it has this history already.
    """
    states = {unit.asset.id: AgeingUnit(unit, profile_of(unit.data)) for unit in units}
    visits = sorted((day, unit.asset.id) for unit in units for day in unit.visits)
    hardware = BenchHardware(seed)
    # another one each time: this computer remembers each run's hash by its number
    ending = token_hex(2)
    run_ids, verdicts, found_out = list[str](), Counter[Verdict](), 0
    for number, (day, tag) in enumerate(visits, start=1):
        own = Randomness(seed, tag, f"{day}")
        run_id, events = _visit(states[tag], hardware, day, own, ending)
        store.append_all(run_id, events)
        run_ids.append(run_id)
        last = events[-1]
        if isinstance(last, RunFinished):
            verdicts[last.verdict] += 1
        found_out += any(_is_out_as_found(event) for event in events)
        on_visit(number, len(visits))
    return MadeHistory(tuple(units), tuple(run_ids), verdicts, found_out)


def _visit(
    state: AgeingUnit, hardware: BenchHardware, day: date, own: Randomness, ending: str
) -> tuple[str, tuple[Event, ...]]:
    """The number of the run of one visit, and its events."""
    bench, unit = bench_day(hardware, day, own), state.invented
    state.age_to(day)
    run_id = f"{bench.begun:{NUMBER_TIME}}-{unit.asset.id}-{ending}"
    return run_id, tuple(Visit(state, bench, procedure_of(unit.data), run_id).events())


def _is_out_as_found(event: Event) -> bool:
    if not isinstance(event, PointDone):
        return False
    return event.result.stage == "as_found" and event.result.verdict == "fail"
