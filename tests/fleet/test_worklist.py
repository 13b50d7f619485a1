"""The order of the worklist, and the state of a campaign's units, from invented entries."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest

from ohmwright.api.campaign_words import progress_words
from ohmwright.cli.worklist_command import unit_document, unit_words
from ohmwright.fleet.campaign_state import progress, tag_to_take, unit_states
from ohmwright.fleet.worklist import (
    LastWork,
    Risk,
    months_later,
    risk_order,
    work_unit,
    worklist,
)
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.records.campaigns import Campaign, CampaignEntry, EntryWhat, Worker
from ohmwright.records.last_runs import WorkDone
from ohmwright.records.qualified import Qualified
from ohmwright.reports.verdict_grounds import READINGS_MARK

TODAY = date(2026, 7, 1)
LATER = "2026-07-01T12:00:00"
A, B = Worker("Fenn", "bench 1"), Worker("Oake", "bench 2")


def unit(tag: str, **fields: object) -> RegisteredAsset:
    said = {"tag": tag, "maker": "T", "model": "Q", "serial": tag}
    return RegisteredAsset.model_validate(said | fields)


def passed(on: date) -> LastWork:
    return LastWork(on, "pass")


def entry(number: int, tag: str, what: EntryWhat, who: Worker = A, **said: str) -> CampaignEntry:
    words, run_id = said.get("words", ""), said.get("run_id", "")
    return CampaignEntry(number, tag, "2026-07-01", who.by, who.bench, what, words, run_id)


def work(tag: str, run_id: str) -> WorkDone:
    return WorkDone(tag, 1, run_id, LATER, "pass", "Oake")


def test_risk_comes_first_then_the_due_date_then_the_place() -> None:
    assets = [
        unit("fresh"),
        unit("late"),
        unit("new"),
        unit("failed"),
        unit("gone", state="withdrawn"),
        unit("b", site="B"),
        unit("a", site="A"),
    ]
    lasts = {
        "fresh": passed(date(2026, 6, 1)),
        "late": passed(date(2023, 1, 1)),
        "failed": LastWork(date(2026, 6, 30), "fail"),
        "a": passed(date(2026, 1, 1)),
        "b": passed(date(2026, 1, 1)),
    }
    order = [one.asset.tag for one in worklist(assets, lasts, TODAY)]
    assert order == ["failed", "new", "late", "a", "b", "fresh"]


def test_what_is_probably_out_comes_first_then_what_leaves_soonest() -> None:
    tags = ("leaves late", "leaves soon", "out", "failed", "calm")
    lasts = {tag: passed(date(2026, 1, 1)) for tag in tags}
    lasts["failed"] = LastWork(date(2026, 6, 30), "fail")
    known = {
        "leaves late": Risk(0.3, 0.7),
        "leaves soon": Risk(0.01, 0.95),
        "out": Risk(0.6, 0.6),
        "failed": Risk(0.0, 0.0),
    }
    order = worklist(map(unit, tags), lasts, TODAY, lambda asset: known.get(asset.tag))
    assert [one.asset.tag for one in order] == [
        "failed", "out", "leaves soon", "leaves late", "calm"
    ]  # fmt: skip
    assert [one.is_foretold for one in order] == [False, True, True, True, False]


def test_undecided_runs_foretell_the_risk_of_a_unit_that_was_never_decided() -> None:
    known = {"undecided": Risk(0.73, 0.9)}
    assets = [unit("never seen"), unit("undecided")]
    never, undecided = worklist(assets, {}, TODAY, lambda asset: known.get(asset.tag))
    assert (never.asset.tag, never.is_risk_known) == ("never seen", False)
    assert (undecided.risk, undecided.is_risk_known) == (Risk(0.73, 0.9), True)
    assert undecided.is_probably_out
    assert undecided.is_due(TODAY)
    assert unit_document(never, Qualified())["risk_now"] is None
    assert unit_document(undecided, Qualified())["risk_now"] == 0.73


def test_that_a_unit_has_failed_is_said_once() -> None:
    """It read "failed 2026-06-30, risk failed"."""
    failed = work_unit(unit("a"), LastWork(date(2026, 6, 30), "fail"), TODAY)
    assert unit_words(failed, Qualified()).endswith("; failed 2026-06-30")
    assert unit_words(failed, Qualified(past_due=frozenset({"a"}))).endswith(
        f"; failed 2026-06-30{READINGS_MARK}"
    )
    fresh = work_unit(unit("a"), passed(date(2026, 6, 1)), TODAY)
    assert "; due 2027-06-01, risk ~" in unit_words(fresh, Qualified())


def test_of_two_that_leave_within_the_year_the_one_nearer_the_limit_comes_first() -> None:
    far, near = Risk(0.001, 1.0), Risk(0.3, 0.999)
    assert sorted([far, near], key=risk_order) == [near, far]
    assert sorted([Risk(0.45, 0.5), Risk(0.0, 1.0)], key=risk_order)[0].within_year == 1.0


def test_a_unit_that_is_due_today_has_one_chance_in_ten_to_be_out() -> None:
    found = work_unit(unit("a"), passed(date(2025, 7, 1)), TODAY)
    assert found.due == TODAY
    assert found.is_due(TODAY)
    assert found.risk.now == pytest.approx(0.1)
    assert found.risk.within_year == pytest.approx(0.19)
    assert not work_unit(unit("a"), passed(date(2025, 7, 2)), TODAY).is_due(TODAY)


def test_months_end_on_the_last_day_of_a_shorter_month() -> None:
    assert months_later(date(2026, 1, 31), 1) == date(2026, 2, 28)
    assert months_later(date(2027, 12, 31), 2) == date(2028, 2, 29)
    assert months_later(date(2026, 11, 30), 12) == date(2027, 11, 30)


def test_a_unit_in_hand_comes_before_every_other_and_nobody_gets_anothers() -> None:
    entries = [entry(n, tag, "planned") for n, tag in enumerate("abc", 1)]
    entries.append(entry(4, "b", "taken", A))
    states = unit_states(entries, {}, {})
    assert tag_to_take(states, "abc", A, TODAY, away=False) == "b"
    assert tag_to_take(states, "bca", B, TODAY, away=False) == "c"


def test_put_off_and_handed_over_units_wait_for_their_day_and_their_person() -> None:
    entries = [entry(n, tag, "planned") for n, tag in enumerate("ab", 1)]
    entries.append(entry(3, "a", "deferred", words="2026-07-02 on holiday"))
    entries.append(entry(4, "b", "handed over", words="Oake"))
    states = unit_states(entries, {}, {})
    assert tag_to_take(states, "ab", A, TODAY, away=False) is None
    assert tag_to_take(states, "ab", A, date(2026, 7, 2), away=False) == "a"
    assert tag_to_take(states, "ab", B, TODAY, away=False) == "b"


def test_where_the_campaign_came_in_a_file_units_are_taken_that_were_handed_over() -> None:
    entries = [entry(n, tag, "planned") for n, tag in enumerate("ab", 1)]
    entries.append(entry(3, "b", "handed over", words=A.by))
    states = unit_states(entries, {}, {})
    assert tag_to_take(states, "ab", A, TODAY, away=False) == "a"
    assert tag_to_take(states, "ab", A, TODAY, away=True) == "b"
    assert tag_to_take(states, "ab", B, TODAY, away=True) is None


def test_a_finished_run_makes_its_unit_done_also_where_nobody_could_say_so() -> None:
    entries = [entry(1, "a", "planned"), entry(2, "a", "begun", run_id="r")]
    assert unit_states(entries, {"r": None}, {})["a"].phase == "taken"
    done = unit_states(entries, {"r": "fail"}, {})["a"]
    assert (done.phase, done.verdict, done.holder) == ("done", "fail", None)


def test_a_run_from_elsewhere_counts_unless_somebody_said_that_it_does_not() -> None:
    entries = [entry(n, tag, "planned") for n, tag in enumerate("abc", 1)]
    entries.append(entry(4, "b", "deferred", words="2026-07-09"))
    entries.append(entry(5, "c", "again", words="repaired", run_id="t"))
    elsewhere = {tag: [work(tag, run)] for tag, run in zip("abc", "rst", strict=True)}
    states = unit_states(entries, {}, elsewhere)
    assert [one.phase for one in states.values()] == ["done", "done", "open"]


def test_only_a_run_that_was_begun_since_its_unit_was_planned_counts() -> None:
    planned = datetime.fromisoformat(entry(1, "a", "planned").at)

    def run(seconds: float) -> WorkDone:
        begun = f"{planned + timedelta(seconds=seconds):%Y%m%dT%H%M%SZ}"
        return work("a", f"{begun}-a-0001")

    entries = [entry(1, "a", "planned")]
    for seconds, phase in ((-1, "open"), (0, "done"), (60, "done")):
        assert unit_states(entries, {}, {"a": [run(seconds)]})["a"].phase == phase
    noted = [*entries, entry(2, "a", "done", run_id=run(-60).run_id)]  # by an older version
    before = {"a": [run(-60)]}
    assert unit_states(noted, {run(-60).run_id: "pass"}, before)["a"].phase == "open"


def test_a_run_that_nobody_noted_names_who_did_it() -> None:
    state = unit_states([entry(1, "a", "planned")], {}, {"a": [work("a", "r")]})["a"]
    assert (state.by, state.at, state.verdict) == ("Oake", LATER, "pass")


def test_a_unit_that_is_to_be_done_again_has_no_run() -> None:
    entries = [entry(1, "a", "planned"), entry(2, "a", "begun", run_id="r")]
    entries += [entry(3, "a", "done", words="3.0", run_id="r")]
    entries += [entry(4, "a", "again", words="repaired", run_id="r"), entry(5, "a", "taken", B)]
    state = unit_states(entries, {"r": "fail"}, {})["a"]
    assert (state.phase, state.run_id, state.holder) == ("taken", "", B)


def test_time_left_is_learned_by_model() -> None:
    entries = [entry(n, tag, "planned") for n, tag in enumerate("abcd", 1)]
    for tag, run_id, minutes in (("a", "r", "10"), ("b", "s", "40")):
        entries.append(entry(5, tag, "begun", run_id=run_id))
        entries.append(entry(6, tag, "done", words=minutes, run_id=run_id))
    far = progress(
        unit_states(entries, {"r": "pass", "s": "fail"}, {}),
        {"a": "Q", "b": "M", "c": "Q", "d": "M"},
        TODAY,
    )
    assert (far.done, far.left, far.minutes_left, far.learned_from) == (2, 2, 50.0, 2)
    assert far.verdicts == {"pass": 1, "fail": 1}


def test_a_day_that_was_told_counts_until_a_run_is_newer() -> None:
    told = unit("a", last_passed="2026-01-31", interval_months=12)
    alone = work_unit(told, None, TODAY)
    assert (alone.due, alone.is_due(TODAY)) == (date(2027, 1, 31), False)
    assert unit_words(alone, Qualified()).startswith("a: T Q; due 2027-01-31, as told, risk ~")
    document = unit_document(alone, Qualified())
    assert (document["last_run"], document["last_is_told"]) == (None, True)
    older, newer = LastWork(date(2025, 6, 1), "fail", "r"), LastWork(date(2026, 2, 1), "fail", "r")
    assert work_unit(told, older, TODAY).due == date(2027, 1, 31)
    that_day = LastWork(date(2026, 1, 31), "fail", "r")
    assert work_unit(told, that_day, TODAY).last is that_day
    failed = work_unit(told, newer, TODAY)
    assert failed.last is newer
    assert failed.is_due(TODAY)


@pytest.mark.parametrize(
    ("now", "words"), [(0.996, ">99 %"), (0.994, "99 %"), (0.004, "<1 %"), (0.02, "2 %")]
)
def test_a_risk_is_never_rounded_to_certainty(now: float, words: str) -> None:
    last = passed(date(2026, 6, 1))
    known = work_unit(unit("a"), last, TODAY, lambda _: Risk(now, now))
    assert unit_words(known, Qualified()).endswith(f", risk {words}")


def test_a_unit_of_which_nothing_is_known_is_not_called_out() -> None:
    assert "no verdict yet" in unit_words(work_unit(unit("a"), None, TODAY), Qualified())


def test_what_was_skipped_is_counted_among_all_and_what_was_removed_is_not() -> None:
    entries = [entry(n, tag, "planned") for n, tag in enumerate("abcd", 1)]
    entries += [entry(5, "a", "skipped", words="away"), entry(6, "b", "removed", words="sold")]
    entries.append(entry(7, "c", "begun", run_id="r"))
    far = progress(unit_states(entries, {"r": "pass"}, {}), {}, TODAY)
    may = Campaign("may", "2026-07-01", "Fenn", "calibrate", False, 0, "")
    said = progress_words(may, far)
    assert said.startswith("may: 1 of 3 done (1 pass); 1 left; 1 skipped; 1 removed; about 0 h 20")
