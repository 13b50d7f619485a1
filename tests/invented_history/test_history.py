"""An invented history is like one that a bench has made, and says that it is invented."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest

from ohmwright.invented_history.bench_day import BenchHardware, bench_day, procedure_of, profile_of
from ohmwright.invented_history.fleet import YEARS, InventedUnit, invented_fleet
from ohmwright.invented_history.make_history import make_history
from ohmwright.invented_history.unit_state import AgeingUnit
from ohmwright.invented_history.visit import Visit
from ohmwright.model.event import Event, PointDone, RunStarted
from ohmwright.model.hardware import GeneratorData
from ohmwright.model.result import Result
from ohmwright.records.audit import audit
from ohmwright.records.queries import fetch_rows, last_seen
from ohmwright.records.run_lists import runs
from ohmwright.records.sql_store import open_store
from ohmwright.simulator.randomness import Randomness

UNTIL = date(2026, 11, 20)
FLEET = invented_fleet(3, UNTIL)


def first_of_each_model() -> list[InventedUnit]:
    return list({unit.data: unit for unit in reversed(FLEET)}.values())


def test_the_fleet_is_fifty_units_of_four_models_seen_about_once_a_year() -> None:
    assert len({unit.asset.id for unit in FLEET}) == 50
    assert len({unit.asset.model for unit in FLEET}) == 4
    days = [day for unit in FLEET for day in unit.visits]
    assert min(days) >= UNTIL - timedelta(days=366 * YEARS)
    assert max(days) <= UNTIL
    assert 200 <= len(days) <= 260
    assert {day.isoweekday() for day in days} <= {1, 2, 3, 4, 5}
    assert FLEET == invented_fleet(3, UNTIL) != invented_fleet(4, UNTIL)


def test_a_history_is_signed_whole_and_marked_as_simulated(tmp_path: Path) -> None:
    units, told = first_of_each_model(), list[tuple[int, int]]()
    with open_store(str(tmp_path / "r"), tmp_path / "key", tmp_path / "witness") as store:
        history = make_history(store, units, 3, lambda done, of: told.append((done, of)))
        assert list(audit(store)) == []
        rows = runs(store.database)
        events = [store.events(run_id) for run_id in history.run_ids]
        newest = fetch_rows(store.database, last_seen())
    assert told[-1] == (len(rows), len(rows))
    assert {(row["simulated"], row["verdict"]) for row in rows} == {(1, "pass")}
    assert [row["at"] for row in rows] == sorted(row["at"] for row in rows)
    assert {row.asset: row.at[:10] for row in newest} == {
        unit.asset.id: f"{unit.visits[-1]}" for unit in units
    }
    started = events[0][0]
    assert isinstance(started, RunStarted)
    assert "no instrument was read" in started.software
    assert {event.kind for run in events for event in run}.isdisjoint(
        ("activation_opened", "activation_closed")
    )


def test_a_history_made_again_is_not_taken_for_an_altered_one(tmp_path: Path) -> None:
    """This computer remembers how each run ended: one number never stands for two runs."""
    unit, key, witness = first_of_each_model()[:1], tmp_path / "key", tmp_path / "witness"
    for folder in ("first", "second"):
        with open_store(str(tmp_path / folder), key, witness) as store:
            make_history(store, unit, 3, lambda done, of: None)
            assert list(audit(store)) == []


def results_of(events: list[Event], stage: str) -> list[Result]:
    return [e.result for e in events if isinstance(e, PointDone) and e.result.stage == stage]


def test_what_was_measured_is_the_simulator_s_truth_within_u() -> None:
    """The truth that each visit leaves, with its trims, held against what it measured as left."""
    hardware, off = BenchHardware(3), list[float]()
    for unit in first_of_each_model():
        state, file = AgeingUnit(unit, profile_of(unit.data)), procedure_of(unit.data)
        assert isinstance(state.data, GeneratorData)
        for day in unit.visits:
            state.age_to(day)
            bench = bench_day(hardware, day, Randomness(3, f"{day}"))
            left = results_of(list(Visit(state, bench, file, "run").events()), "as_left")
            for result in left:
                assert result.mode is not None
                assert result.setting_w is not None
                assert result.load_ohm is not None
                assert result.measured is not None
                true_ma = state.true_ma(
                    result.mode, result.setting_w, result.load_ohm, hardware.bank, 6.0
                )
                load_ohm = hardware.bank.steps[result.load_ohm].resistance_ohm
                true_w = (true_ma / 1000) ** 2 * load_ohm
                off.append((result.measured.value - true_w) / (result.measured.expanded or 0.0))
    inside = sum(abs(one) <= 1 for one in off) / len(off)
    assert len(off) > 90
    assert inside > 0.9
    assert max(map(abs, off)) > 0.3  # a meter that were right always would be another one


@pytest.mark.parametrize("place", [6, 21])
def test_a_unit_that_ages_fast_is_found_out_and_one_without_trims_fails(place: int) -> None:
    unit, hardware = FLEET[place], BenchHardware(3)
    state, verdicts = AgeingUnit(unit, profile_of(unit.data)), []
    for day in unit.visits:
        state.age_to(day)
        bench = bench_day(hardware, day, Randomness(3, f"{day}"))
        events = list(Visit(state, bench, procedure_of(unit.data), "run").events())
        found, left = (
            {one.verdict for one in results_of(events, stage)} for stage in ("as_found", "as_left")
        )
        verdicts.append(("fail" in found, "fail" in left))
    assert any(found for found, _ in verdicts)
    assert [left for _, left in verdicts[:-2]] == [False] * (len(verdicts) - 2)
    assert verdicts[-1][1] == (place == 21)
