"""What makes a unit of a campaign done, what opens it again, and what is said about it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest

from ohmwright.api.campaign_changes import CampaignChanges
from ohmwright.api.campaign_words import place_words, reason_words, who_words
from ohmwright.api.campaign_work import CampaignDesk, refuse_handed_over
from ohmwright.api.jobs import claimed_events
from ohmwright.model.errors import RecordError, UsageError
from ohmwright.model.event import Event, Fault
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.step import STAGES, Stage
from ohmwright.records.add_addendum import Wanted, add_addendum
from ohmwright.records.asset_register import AssetChange, AssetRegister
from ohmwright.records.campaigns import Campaigns, Worker
from ohmwright.records.sql_store import SqlStore, open_store
from ohmwright.wire.clock import RealClock
from tests.records.some_events import finished, point, started

FENN, OAKE = Worker("Fenn", "bench 1"), Worker("Oake", "bench 2")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqlStore]:
    with open_store(str(tmp_path / "here"), tmp_path / "key", tmp_path / "witness") as made:
        units = [
            RegisteredAsset(tag=tag, maker="T", model="Q", serial=tag) for tag in ("HF-1", "HF-2")
        ]
        changes = [AssetChange("added", unit, 1) for unit in units]
        AssetRegister(made.database).apply(changes, by="Fenn")
        Campaigns(made.database).new("may", ["HF-1", "HF-2"], "Fenn", "calibrate", simulated=True)
        yield made


def desk(store: SqlStore, worker: Worker = FENN) -> CampaignDesk:
    return CampaignDesk(store, "may", worker)


def changes(store: SqlStore, worker: Worker = FENN) -> CampaignChanges:
    return CampaignChanges(desk(store, worker))


def run_of(run_id: str, *stages: Stage) -> tuple[Event, ...]:
    now = RealClock().wall()
    begun = started(run_id, seed=3).model_copy(update={"stages": stages, "at": now})
    return begun, point(), finished()


def phase(store: SqlStore) -> tuple[str, str]:
    state = desk(store).states()["HF-1"]
    return state.phase, state.run_id


def test_nothing_is_noted_in_an_older_copy(tmp_path: Path) -> None:
    """It would name runs that the copy then refuses, and travel to where nothing was lost."""
    place, files = str(tmp_path / "here"), (tmp_path / "key", tmp_path / "witness")
    with open_store(place, *files) as made:
        unit = RegisteredAsset(tag="HF-1", maker="T", model="Q", serial="1")
        AssetRegister(made.database).apply([AssetChange("added", unit, 1)], by="Fenn")
        Campaigns(made.database).new("may", ["HF-1"], "Fenn", "calibrate", simulated=True)
        made.append_all("first", run_of("first", *STAGES))
        file = Path(made.database.place)
    older_copy = file.read_bytes()
    with open_store(place, *files) as made:
        made.append_all("second", run_of("second", *STAGES))
    file.write_bytes(older_copy)
    with open_store(place, *files) as older:
        entries = len(Campaigns(older.database).entries("may"))
        for write in (desk(older).take_next, lambda: desk(older).take("HF-1")):
            with pytest.raises(RecordError, match="older copy"):
                write()
        assert len(Campaigns(older.database).entries("may")) == entries


def test_a_verification_is_not_the_calibration_that_was_asked_for(
    store: SqlStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    store.append_all("verified", run_of("verified", "as_left"))
    assert phase(store) == ("open", "")
    store.append_all("calibrated", run_of("calibrated", *STAGES))
    assert phase(store) == ("done", "calibrated")
    store.append_all("verified again", run_of("verified again", "as_left"))
    monkeypatch.setattr(SqlStore, "events", lambda *_: pytest.fail("one event says what it was"))
    assert phase(store) == ("done", "calibrated")


def test_a_voided_run_opens_its_unit_again(store: SqlStore) -> None:
    one = desk(store)
    assert one.take("HF-1").resumes is None
    one.begin("HF-1", "r")
    store.append_all("r", run_of("r", *STAGES))
    assert one.settle("HF-1").phase == "done"
    add_addendum(store, "r", Wanted(what="voided", operator="Fenn", reason="wrong unit"))
    assert phase(store) == ("open", "")
    assert one.take("HF-1").resumes is None
    one.begin("HF-1", "s")
    store.append_all("s", run_of("s", *STAGES))
    assert phase(store) == ("done", "s")
    assert one.progress().verdicts == {"pass": 1}


def test_a_run_before_again_counts_no_more_though_it_is_reinstated(store: SqlStore) -> None:
    one = desk(store)
    for run_id in ("first", "second"):
        one.begin("HF-1", run_id)
        store.append_all(run_id, run_of(run_id, *STAGES))
        one.settle("HF-1")
        if run_id == "first":
            add_addendum(store, "first", Wanted(what="voided", operator="Fenn", reason="doubt"))
    changes(store).again("HF-1", "repaired")
    add_addendum(store, "first", Wanted(what="reinstated", operator="Fenn", reason="was right"))
    assert phase(store) == ("open", "")
    one.begin("HF-1", "third")
    store.append_all("third", run_of("third", *STAGES))
    assert phase(store) == ("done", "third")


def test_a_begun_run_is_gone_on_with_by_whom_its_unit_was_handed_over_to_alone(
    store: SqlStore,
) -> None:
    one = desk(store)
    one.take("HF-1")
    one.begin("HF-1", "half")
    store.append_all("half", run_of("half", *STAGES)[:2])
    refuse_handed_over(store, "half", "Fenn")
    changes(store).hand_over("HF-1", "Oake")
    with pytest.raises(UsageError, match="half is for Oake to go on with"):
        refuse_handed_over(store, "half", "Fenn")
    refuse_handed_over(store, "half", "Oake")
    changes(store).hand_over("HF-1", "Fenn")
    refuse_handed_over(store, "half", "Fenn")


def test_what_is_left_is_named_with_the_reason(store: SqlStore) -> None:
    assert CampaignDesk(store, "may", FENN, models=["Other", "Else"]).why_left() == dict.fromkeys(
        ("HF-1", "HF-2"), "a Q, and this bench has a generator file for Else, Other alone"
    )
    here = CampaignDesk(store, "may", FENN, models=["Q"])
    CampaignChanges(here).defer("HF-1", date(2999, 1, 31), "in use")
    desk(store, OAKE).take("HF-2")
    assert here.why_left() == {
        "HF-1": "deferred to 2999-01-31",
        "HF-2": "in the hands of Oake at bench 2",
    }


def test_a_unit_in_somebodys_hands_is_theirs_at_every_bench_and_others_are_told_the_way(
    store: SqlStore,
) -> None:
    desk(store, Worker("Fenn", "a computer")).take("HF-1")
    with pytest.raises(UsageError) as refused:
        desk(store, OAKE).take("HF-1")
    assert "is in the hands of Fenn at a computer" in refused.value.happened
    assert "ohmwright campaign hand-over may HF-1 --to Oake" in refused.value.do
    assert desk(store).take("HF-1").state.holder == FENN
    desk(store).begin("HF-1", "r")
    store.append_all("r", run_of("r", *STAGES))
    with pytest.raises(UsageError) as refused:
        desk(store, OAKE).take("HF-1")
    assert "ohmwright campaign again may HF-1" in refused.value.do


def test_what_somebody_took_at_no_bench_comes_first_at_theirs(store: SqlStore) -> None:
    nowhere = Worker("Fenn", "")
    desk(store, OAKE).take("HF-1")
    asked = desk(store, nowhere).take_next()  # as by `next`
    assert asked is not None
    assert (asked.asset.tag, asked.state.holder) == ("HF-2", nowhere)
    assert desk(store, OAKE).why_left()["HF-2"] == "in the hands of Fenn"
    at_bench = desk(store).take_next()  # as by `campaign work`
    assert at_bench is not None
    assert (at_bench.asset.tag, at_bench.state.holder) == ("HF-2", FENN)
    again = desk(store, nowhere).take_next()  # which does not take it from the bench
    assert again is not None
    assert (again.asset.tag, again.state.holder) == ("HF-2", FENN)
    assert desk(store, Worker("Fenn", "bench 3")).take_next() is None


def test_a_unit_that_is_put_back_is_anybodys(store: SqlStore) -> None:
    one = desk(store)
    one.take("HF-1")
    one.take("HF-2")
    assert desk(store, OAKE).take("HF-1").state.holder == OAKE


def test_a_run_that_was_refused_is_not_gone_on_with(store: SqlStore) -> None:
    one = desk(store)
    one.take("HF-1")
    one.begin("HF-1", "r")
    begun = run_of("r", *STAGES)[0]
    store.append_all("r", [begun])
    assert one.take("HF-1").resumes == "r"
    why = Fault(at=begun.at, bench_s=1, error="WrongInstrument", message="Another.", rf_state="off")
    store.append_all("r", [why])
    assert one.take("HF-1").resumes is None


def test_a_withdrawn_unit_is_not_left_to_be_done(store: SqlStore) -> None:
    desk(store).take("HF-1")
    known = AssetRegister(store.database).get("HF-1")
    gone = known.asset.model_copy(update={"state": "withdrawn"})
    change = AssetChange("withdrawn", gone, known.revision + 1)
    AssetRegister(store.database).apply([change], by="Oake", why="no spares")
    assert phase(store) == ("withdrawn", "")
    state = desk(store).states()["HF-1"]
    assert (who_words(state), reason_words(state)) == ("Oake", "no spares")  # Fenn only took it
    assert (desk(store).progress().left, list(desk(store).why_left())) == (1, ["HF-2"])


def test_a_unit_that_is_left_is_told_as_in_repair(store: SqlStore) -> None:
    register = AssetRegister(store.database)
    for tag in ("HF-1", "HF-2"):
        known = register.get(tag)
        broken = known.asset.model_copy(update={"state": "in repair"})
        register.apply([AssetChange("changed", broken, known.revision + 1)], by="Oake")
    store.append_all("r", run_of("r", *STAGES))  # makes HF-1 done
    states = desk(store).states()
    assert [place_words(states[tag]) for tag in ("HF-1", "HF-2")] == ["pass", "open, in repair"]


def test_what_is_said_about_a_unit_is_what_was_done(store: SqlStore) -> None:
    one = desk(store)
    one.take("HF-2")
    store.append_all("r", run_of("r", *STAGES))  # makes HF-1 done
    later = date(2999, 1, 31)
    for wrong, words in (
        (lambda: changes(store).skip("HF-1", "gone"), "is done already: pass, run r"),
        (lambda: changes(store).hand_over("HF-1", "Oake"), "is done already"),
        (lambda: changes(store).defer("HF-1", later, "in use"), "is done already"),
        (lambda: changes(store).again("HF-2", "repaired"), "HF-2 is not done"),
        (lambda: changes(store).again("HF-1", ""), "Why is it done again"),
        (lambda: changes(store).skip("HF-9", "gone"), "not in the campaign"),
        (lambda: changes(store).skip("HF-2", ""), "Why is it skipped"),
        (lambda: changes(store).hand_over("HF-2", ""), "To whom"),
        (lambda: changes(store).defer("HF-2", later, ""), "Why is it deferred"),
        (
            lambda: changes(store).defer("HF-2", date(2020, 1, 1), "in use"),
            "2020-01-01 is not ahead",
        ),
    ):
        with pytest.raises(UsageError, match=words):
            wrong()
    assert changes(store).again("HF-1", "repaired") == (
        "HF-1 is to be done again: repaired. It was done: pass, run r"
    )
    assert changes(store, OAKE).skip("HF-2", "in use") == (
        "HF-2 skipped: in use. It was in the hands of Fenn at bench 1"
    )
    assert changes(store, OAKE).hand_over("HF-2", "Fenn") == "HF-2 handed over to Fenn"
    assert [state.phase for state in one.states().values()] == ["open", "open"]


def test_blanks_are_no_reason_and_no_part_of_a_name(store: SqlStore) -> None:
    """To a name with blanks around it a unit would be handed over that nobody has."""
    with pytest.raises(UsageError, match="Why is it skipped"):
        changes(store).skip("HF-1", "  ")
    with pytest.raises(UsageError, match="To whom"):
        changes(store).hand_over("HF-1", " ")
    changes(store).hand_over("HF-1", " Oake ")
    assert desk(store).states()["HF-1"].only_by == "Oake"


def test_units_come_into_a_campaign_that_runs_and_go_out_of_it(store: SqlStore) -> None:
    more = [RegisteredAsset(tag=tag, maker="T", model="Q", serial=tag) for tag in ("HF-3", "HF-4")]
    AssetRegister(store.database).apply([AssetChange("added", u, 1) for u in more], by="Fenn")
    assert changes(store).add(["HF-3", "HF-1", "HF-3"]) == "HF-3 added to may"
    with pytest.raises(UsageError, match="has all of these units already"):
        changes(store).add(["HF-3", "HF-1"])
    assert changes(store).remove("HF-2", "scrapped") == "HF-2 removed: scrapped"
    assert desk(store).progress().left == 2
    assert [desk(store).take_next() is not None for _ in range(1)] == [True]
    desk(store).take("HF-3")
    for refused in (desk(store).take, lambda tag: changes(store).skip(tag, "late")):
        with pytest.raises(UsageError, match="Asset HF-2 is not in the campaign 'may'"):
            refused("HF-2")
    changes(store).add(["HF-2"])
    assert desk(store).states()["HF-2"].phase == "open"


def test_a_campaign_begun_by_mistake_is_closed_and_opened_again(store: SqlStore) -> None:
    store.append_all("first", run_of("first", *STAGES))
    desk(store, OAKE).take("HF-2")
    removed = "HF-2 removed: by mistake. It was in the hands of Oake at bench 2"
    assert changes(store).close("by mistake") == {"HF-2": removed}
    far = desk(store).progress()
    assert (far.done, far.left, far.removed) == (1, 0, 1)
    assert desk(store, OAKE).take_next() is None
    with pytest.raises(UsageError, match="Nothing is left of the campaign 'may'"):
        changes(store).close("twice")
    changes(store).add(["HF-2"])
    assert desk(store).progress().left == 1


def test_a_unit_that_was_removed_is_not_done_by_a_run_from_elsewhere(store: SqlStore) -> None:
    changes(store).remove("HF-1", "scrapped")
    store.append_all("other", run_of("other", *STAGES))
    assert phase(store) == ("removed", "")
    changes(store).add(["HF-1"])
    assert phase(store) == ("done", "other")
    with pytest.raises(UsageError, match="HF-1 is done already"):
        changes(store).remove("HF-1", "scrapped")


def test_what_was_handed_over_is_not_gone_on_with_by_a_program_either(store: SqlStore) -> None:
    desk(store).begin("HF-1", "half")
    store.append_all("half", run_of("half", *STAGES)[:-1])
    changes(store).hand_over("HF-1", "Oake")
    with pytest.raises(UsageError, match="is for Oake to go on with"):
        claimed_events(store, "half", "Fenn")
    assert len(claimed_events(store, "half", "Oake")) == 2
