"""What people said and what befell the work stands on every paper; so does what protected it."""

from datetime import timedelta
from typing import Any

import pytest

from ohmwright.model.by_hand import HandVerb
from ohmwright.model.event import (
    Asked,
    Event,
    Fault,
    Foretold,
    PointDone,
    ProtectionProved,
    RunResumed,
    ServiceLeft,
    SlowRelease,
    TrimMoved,
    TrimsStored,
    UnaskedRf,
)
from ohmwright.model.protections import Protections
from ohmwright.reports.certificate import certificate_of
from ohmwright.reports.part_texts import interruption_lines, protection_lines
from ohmwright.reports.run_remarks import remarks_of_run

from .conftest import BEGUN, a_run, result
from .test_csv_file import rows_of
from .test_run_parts import squeezed, text_in


def at(minutes: float) -> Any:
    return {"at": BEGUN + timedelta(minutes=minutes), "bench_s": 60 * minutes}


def asked(answer: str, words: str = "") -> Asked:
    question = "Set the generator to cut, 300 W."
    return Asked(**at(3), question=question, answer=answer, words=words, told_by="Oda Brandvik")


def test_comments_and_skips_are_told_with_who_said_them() -> None:
    told = remarks_of_run(
        (asked("done"), asked("comment", "plug loose"), asked("skip", "no pedal"))
    )
    where = "2026-03-02 09:33 UTC, Oda Brandvik, asked “Set the generator to cut, 300 W.”: "
    assert told == (f"{where}comment: plug loose", f"{where}skipped: no pedal")


def test_what_befell_the_work_is_told() -> None:
    told, slow, again, unasked, held, left = remarks_of_run(
        (
            Foretold(**at(0), severity="warning", step="cut", what="a last digit of 5 mA"),
            SlowRelease(**at(1), took_s=1.24),
            SlowRelease(**at(1), took_s=0.14, sent=2),
            UnaskedRf(**at(2), seen="40 mA flowed"),
            UnaskedRf(**at(2), seen="40 mA flowed", keyed_by="Oda Brandvik", on_s=3.26),
            ServiceLeft(**at(3), point="P1", told_by="Oda Brandvik"),
        )
    )
    assert "told before RF, warning of cut: a last digit of 5 mA" in told
    assert "the output was read back as off 1.2 s after OFF" in slow
    assert "OFF was sent 2 times: the output was read back as off 0.1 s after the first" in again
    assert "RF was read though nobody had asked for it (40 mA flowed); it read off after" in unasked
    assert (
        "; on for at most 3.3 s, it read off after Oda Brandvik was told to release the foot switch"
    ) in held
    assert "service mode at P1 left without saving, as told by Oda Brandvik" in left


def test_leaving_service_mode_undoes_only_what_was_moved() -> None:
    left = ServiceLeft(**at(2), point="P1")
    moved = TrimMoved(**at(1), point="P1", counts=3)
    assert remarks_of_run((left,))[0].endswith("without saving; no unstored move is on record")
    assert remarks_of_run((moved, left))[0].endswith(": moves that were not stored are undone")
    stored = TrimsStored(**at(1))
    assert remarks_of_run((moved, stored, left))[0].endswith("no unstored move is on record")


def test_a_result_that_a_later_one_took_the_place_of_is_not_hidden() -> None:
    first = result("as_left", "cut", "500 ohm", error=0.2)
    events = [
        PointDone(**at(n), result=one)
        for n, one in enumerate((first, result("as_left", "cut", "500 ohm")))
    ]
    (again,) = remarks_of_run(events)
    assert again == (
        "2026-03-02 09:31 UTC: as left, cut, 500 ohm done again; before: 120.0 ± 1.2 W, fail, "
        "above the upper limit"
    )


def test_a_fail_before_trims_were_moved_again_is_not_among_points_that_had_passed() -> None:
    names, adjusted = ("100 ohm", "500 ohm"), result("adjust", "trim", "P1")
    first = [result("as_left", "cut", name, error=0.2 * n) for n, name in enumerate(names)]
    again = adjusted.model_copy(update={"again": "adjusted"})
    last = [result("as_left", "cut", name) for name in names]
    done = [*first, again, *last]
    told = remarks_of_run([PointDone(**at(n), result=one) for n, one in enumerate(done)])
    assert "as left: 1 point that had passed measured again after trims were moved" in told
    assert any("500 ohm done again; before: 120.0 ± 1.2 W, fail" in line for line in told)


def test_remarks_of_every_kind_stand_in_order_of_time() -> None:
    """A result that was replaced at 09:31 stood below a comment of 09:33."""
    first = result("as_left", "cut", "500 ohm")
    events = [PointDone(**at(n), result=first) for n in (0, 1)]
    told = remarks_of_run([*events, asked("comment", "plug loose")])
    assert [line[11:16] for line in told] == ["09:31", "09:33"]


def protected(*events: Event, **had: Any) -> tuple[Event, ...]:
    first, *rest = a_run([result("as_left", "cut", "500 ohm")])
    return (first.model_copy(update={"protections": Protections(**had)}), *events, *rest)


@pytest.mark.parametrize("form", ["pdf", "html", "dcc"])
def test_every_paper_names_what_protected_the_bench_and_what_it_lacked(form: str) -> None:
    proof = ProtectionProved(**at(0.1), what="OFF opens the output", on_s=0.4)
    events = protected(proof, asked("comment", "warm"), limit_in_on=True)
    text = text_in(form, certificate_of(events))
    for words in (
        "time limit sent with ON, kept by the analyzer",
        "absent: guard process that owns the analyzer's port",
        "seen to work with RF on: OFF opens the output",
        "comment: warm",
    ):
        assert squeezed(words) in text, words
    assert squeezed("absent: time limit") not in text


def test_a_record_that_does_not_say_what_protected_the_bench_is_not_recorded() -> None:
    assert list(protection_lines(certificate_of(a_run()).parts)) == ["not recorded"]


def test_a_part_with_another_protection_is_told_apart() -> None:
    first, *rest = protected(guard=True)
    fault = Fault(
        **at(1), error="X", message="gone", rf_state="off", on_s=1, left_open="P1 is 3 counts up."
    )
    again = RunResumed(**at(2), operator="Oda Brandvik", done=0, protections=Protections())
    parts = certificate_of((first, fault, again, *rest)).parts
    said = list(protection_lines(parts))
    assert "part 1: guard process that owns the analyzer's port" in said
    assert "part 2: absent: guard process that owns the analyzer's port" in said
    assert next(iter(interruption_lines(parts))).endswith("Left open: P1 is 3 counts up.")


def test_what_a_person_set_joined_and_moved_is_as_they_told() -> None:
    by_hand = {"setting_told_by": "Oda", "path_told_by": "Oda", "trim_told_by": "Oda"}
    one = result("adjust", "trim", "P1").model_copy(update=by_hand)
    made = certificate_of(a_run([one]))
    words = "set, path joined and trim moved as told by Oda"
    assert squeezed(words) in text_in("html", made)
    assert [rows_of(made)[0][key] for key in by_hand] == ["Oda"] * 3


def test_a_trim_that_nobody_pressed_is_not_said_to_be_moved() -> None:
    stood = {"setting_told_by": "Oda", "trim_told_by": "Oda", "start_trim": 0, "final_trim": 0}
    one = result("adjust", "trim", "P1").model_copy(update=stood)
    said = text_in("html", certificate_of(a_run([one])))
    assert squeezed("set as told by Oda") in said
    assert squeezed("0 is where the trim stood at first") in said
    assert squeezed("trim moved") not in said
    assert squeezed("by presses") not in said
    moved = one.model_copy(update={"point": "P2", "final_trim": 3})
    said = text_in("html", certificate_of(a_run([one, moved])))
    assert squeezed("set and trim moved as told by Oda") in said
    assert squeezed("counted from 0 by presses as told by Oda; 0 is") in said


@pytest.mark.parametrize(
    ("by_hand", "said"),
    [
        ((), "the next part began with the output read as off."),
        (("foot switch",), "the next part began with the output read as off."),
        (("reading",), "the next part began with the output off as told by Ada Fell."),
    ],
)
def test_by_whose_word_rf_was_off_when_a_run_went_on(
    by_hand: tuple[HandVerb, ...], said: str
) -> None:
    first, *rest = protected(by_hand=by_hand)
    fault = Fault(**at(1), error="X", message="gone", rf_state="unknown", on_s=1)
    protections = Protections(by_hand=by_hand)
    again = RunResumed(**at(2), operator="Ada Fell", done=0, protections=protections)
    before, _ = interruption_lines(certificate_of((first, fault, again, *rest)).parts)
    assert before.endswith(said)


@pytest.mark.parametrize("form", ["pdf", "html", "dcc", "csv"])
def test_a_pass_that_rests_on_a_word_says_so(form: str) -> None:
    reason = "nothing leaks, as told by Oda Brandvik"
    told = result("as_left", "leak", "leakage").model_copy(
        update={"reason": reason, "measured": None, "conformity": None}
    )
    assert squeezed(reason) in text_in(form, certificate_of(a_run([told])))


def test_a_point_checked_again_without_named_trims_is_told_all_the_same() -> None:
    first = result("adjust", "cut", "cut current")
    again = first.model_copy(update={"again": "checked"})
    told = remarks_of_run([PointDone(**at(n), result=one) for n, one in enumerate([first, again])])
    assert any("measured again after trims that are not named were moved" in line for line in told)
