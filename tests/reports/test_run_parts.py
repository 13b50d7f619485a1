"""Runs of several parts, values that rest on different things, and records from before."""

from datetime import timedelta
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from ohmwright.engine.run_so_far import on_time_s, split_at_resumptions
from ohmwright.model.document import document
from ohmwright.model.event import (
    ActivationClosed,
    ActivationOpened,
    DocumentKept,
    Event,
    Fault,
    PointDone,
    RunFinished,
    RunResumed,
    TrimMoved,
)
from ohmwright.model.protections import Protections
from ohmwright.model.result import BudgetEntry
from ohmwright.model.traceability import Environment
from ohmwright.records.json_lines import read_runs
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.certificate_text import certificate_text
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.dcc import certificate_dcc
from ohmwright.reports.html import certificate_html
from ohmwright.reports.part_texts import interruption_lines, rf_not_ended_text
from ohmwright.reports.pdf import certificate_pdf
from ohmwright.reports.run_parts import REASON_NOT_RECORDED, parts_of_run
from ohmwright.reports.traceability_marks import NOT_TRACEABLE, traceability_text

from .conftest import BEGUN, CERTIFICATE, a_run, result
from .test_csv_file import rows_of
from .test_html import Page
from .test_pdf import squeezed

OLD = Path(__file__).parent / "data" / "record-of-two-parts.jsonl"


def text_in(form: str, certificate: Certificate) -> str:
    """Every word of one paper, without spaces."""
    if form == "html":
        return squeezed("".join(Page(certificate_html(certificate_text(certificate))).text))
    if form == "dcc":
        return squeezed(certificate_dcc(certificate, "AQ").decode())
    if form == "csv":
        return squeezed(certificate_csv(certificate).decode("utf-8-sig"))
    pdf = certificate_pdf(certificate_text(certificate), certificate.ended_at)
    return squeezed("".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages))


def later(minutes: float) -> dict[str, object]:
    return {"at": BEGUN + timedelta(minutes=minutes), "bench_s": 60 * minutes}


@pytest.fixture
def interrupted() -> tuple[Event, ...]:
    """One point with a certificate; unplugged; one without, in a warmer room, by someone else."""
    first, *_, finished = a_run([])
    before = result("as_left", "cut", "100 ohm", load_ohm=100)
    after = result("as_left", "cut", "500 ohm").model_copy(update={"traceability": "none"})
    fault = Fault(
        **later(5), error="LinkLost", message="The line is gone.", rf_state="off", on_s=31.0
    )
    resumed = RunResumed(
        **later(65),
        operator="Oda Brandvik",
        done=1,
        environment=Environment(temperature_c=27, humidity_percent=30),
        documents=(document("procedure", Path("p.toml"), "x").ref,),
    )
    return (
        first,
        PointDone(**later(4), result=before),
        fault,
        resumed,
        PointDone(**later(70), result=after),
        finished,
    )


@pytest.mark.parametrize("form", ["pdf", "html", "dcc"])
def test_papers_say_what_interrupted_a_run_and_who_went_on(
    interrupted: tuple[Event, ...], form: str
) -> None:
    text = text_in(form, certificate_of(interrupted))
    for words in (
        "Part 1: begun 2026-03-02 09:30 UTC by Imre Valdane; interrupted 2026-03-02 09:35 UTC: "
        "The line is gone. 1 result. Room: 22.5 °C, 41 % relative humidity (as told, not "
        "measured).",
        "Part 2: resumed 2026-03-02 10:35 UTC by Oda Brandvik; finished",
        "Room: 27 °C, 30 % relative humidity (as told, not measured).",
    ):
        assert squeezed(words) in text, words


def test_the_room_is_told_part_by_part_where_it_changed(interrupted: tuple[Event, ...]) -> None:
    (work,) = (
        dict(facts)
        for name, facts in certificate_text(certificate_of(interrupted)).facts
        if name == "Work"
    )
    assert work["Room"] == (
        "part 1: 22.5 °C, 41 % relative humidity (as told, not measured); part 2: 27 °C, 30 % "
        "relative humidity (as told, not measured)"
    )
    dcc = certificate_dcc(certificate_of(interrupted), "AQ").decode()
    assert "Temperature, part 1" in dcc
    assert "Temperature, part 2" in dcc


def test_another_program_or_other_files_are_told_of_the_part_that_had_them(
    interrupted: tuple[Event, ...],
) -> None:
    first, point, fault, resumed, *rest = interrupted
    refs = [
        document(role, Path("x"), text).ref
        for role, text in (
            ("procedure", "p"),
            ("bench", "b"),
            ("analyzer certificate", "c"),
            ("bench", "b2"),
        )
    ]
    begun = first.model_copy(update={"documents": tuple(refs[:3])})
    again = resumed.model_copy(
        update={"documents": (refs[0], refs[3]), "software": "ohmwright 0.2.0"}
    )
    made = certificate_of((begun, point, fault, again, *rest))
    assert [part.changed for part in made.parts] == [(), ("bench", "analyzer certificate")]
    sheet = certificate_text(made)
    assert sheet.interruptions[1].endswith("Changed: bench, analyzer certificate.")
    procedure = dict(dict(sheet.facts)["Procedure"])
    assert procedure["Software"] == "part 1: ohmwright 0.1.0; part 2: ohmwright 0.2.0"


def test_no_line_claims_for_all_what_part_of_the_values_never_had(
    interrupted: tuple[Event, ...],
) -> None:
    certificate = certificate_of(interrupted)
    sheet = certificate_text(certificate)
    analyzer = dict(dict(sheet.facts)["Analyzer"])
    assert "Certificate" not in analyzer
    first, second = (f"{r.step} {r.point}" for r in certificate.results)
    assert analyzer["Values without a letter"].startswith(
        f"{first}: certificate CAL-1, Corrow, calibrated 2025-"
    )
    assert analyzer["Values with letter a"] == f"{second}: {NOT_TRACEABLE['none']}"
    (group,) = sheet.groups
    assert [row.left.mark for row in group.rows] == ["1", "a2"]
    assert [row["traceable_to"] for row in rows_of(certificate)] == ["CAL-1", "none"]
    assert [(row["part"], row["operator"]) for row in rows_of(certificate)] == [
        ("1", "Imre Valdane"),
        ("2", "Oda Brandvik"),
    ]
    dcc = certificate_dcc(certificate, "AQ").decode()
    assert dcc.count("U traceable to: certificate CAL-1") == 1
    assert dcc.count(f"U traceable to: {NOT_TRACEABLE['none']}") == 1


def test_what_a_value_rested_on_before_it_was_measured_again_is_not_told(
    interrupted: tuple[Event, ...],
) -> None:
    """Would notice a certificate named for a trim that was checked again under another one."""
    first, found, fault, resumed, left, finished = interrupted
    before, again = (result("adjust", "trim", "cut current") for _ in range(2))
    again = again.model_copy(
        update={"traceability": "none", "again": "checked", "moved_trims": ("cut power",)}
    )
    found = found.model_copy(update={"result": before})
    left = left.model_copy(update={"result": again})
    made = certificate_of((first, found, fault, resumed, left, finished))
    analyzer = dict(dict(certificate_text(made).facts)["Analyzer"])
    assert analyzer["Traceability"] == NOT_TRACEABLE["none"]
    assert "CAL-1" not in "".join(analyzer.values())


def test_a_record_cut_off_in_an_activation_says_what_it_holds_of_rf(
    interrupted: tuple[Event, ...],
) -> None:
    begun = interrupted[0]
    opened = ActivationOpened(**later(3), load_ohm=500, limit_s=30)
    (part,) = parts_of_run((begun, opened))
    assert rf_not_ended_text(part) == (
        "RF: an activation was begun 2026-03-02 09:33 UTC with a limit of 30 s, and no reading of "
        "off is on record after that. See at the bench that RF is off."
    )
    unlimited = opened.model_copy(update={"limit_s": None})
    assert "without a time limit" in rf_not_ended_text(parts_of_run((begun, unlimited))[0])
    closed = ActivationClosed(**later(4), on_s=7.0)
    assert rf_not_ended_text(parts_of_run((begun, opened, closed))[0]) == ""


def test_a_paper_says_that_a_person_pressed_with_rf_on_and_that_no_trim_was_read() -> None:
    protected = Protections(
        limit_in_on=True, guard=True, state_read_back=True, line_proof=True, path_set=True
    )
    begun, *rest = a_run([result("adjust", "trim", "cut current")])
    begun = begun.model_copy(update={"protections": protected})
    rest = [event for event in rest if not isinstance(event, TrimMoved)]
    by_port = certificate_text(certificate_of((begun, *rest)))
    assert by_port.protections[0] == "nobody need stand by while RF is on"
    assert (by_port.adjustments[0].trim, "not read" in "".join(by_port.notes)) == (
        "4 to −33",
        False,
    )
    pressed = TrimMoved(
        **later(1), point="cut current", counts=-37, age_s=4.0, key="fine", told_by="the meter"
    )
    told = [
        event.model_copy(
            update={"result": event.result.model_copy(update={"trim_told_by": "the meter"})}
        )
        if isinstance(event, PointDone)
        else event
        for event in rest
    ]
    by_hand = certificate_text(certificate_of((begun, pressed, *told)))
    assert by_hand.protections[0].startswith("a person worked the unit's keys while RF was on")
    assert by_hand.adjustments[0].trim.endswith("33†")
    assert [note for note in by_hand.notes if "Trims marked †" in note] == [
        "Trims marked †: counted from 0 by presses as told by the meter; 0 is where the trim "
        "stood at first: its own count was not read from the unit."
    ]


@pytest.mark.parametrize(
    ("serial", "words"),
    [
        ("", " (no serial number in it; the bench file says it is this analyzer's)"),
        ("S9", " (for serial number S9, as the analyzer is named)"),
        (None, ""),  # an older record
    ],
)
def test_papers_say_for_which_analyzer_the_certificate_is(serial: str | None, words: str) -> None:
    basis = CERTIFICATE.model_copy(update={"serial": serial})
    one = result("as_left", "cut", "a").model_copy(update={"traceability": basis})
    made = certificate_of(a_run([one]))
    facts = dict(dict(certificate_text(made).facts)["Analyzer"])
    assert facts["Certificate"] == f"CAL-1{words}"
    assert traceability_text(basis).startswith(f"certificate CAL-1{words}, Corrow")
    assert f"certificate CAL-1{words}, Corrow" in certificate_dcc(made).decode()


def test_where_all_values_are_alike_nothing_is_marked(certificate: Certificate) -> None:
    sheet = certificate_text(certificate)
    assert dict(dict(sheet.facts)["Analyzer"])["Certificate"] == "CAL-1"
    assert {o.mark for g in sheet.groups for r in g.rows for o in (r.found, r.left)} == {""}
    assert sheet.interruptions == ()


def test_the_one_certificate_that_was_past_due_marks_its_values(certificate: Certificate) -> None:
    expired = CERTIFICATE.model_copy(update={"expired": True})
    points = [result("as_left", "cut", name) for name in ("a", "b", "c")]
    points[2] = points[2].model_copy(update={"traceability": expired})
    made = certificate_of(a_run(points))
    assert [row.left.mark for row in certificate_text(made).groups[0].rows] == ["", "", "a"]
    assert rows_of(made)[2]["traceable_to"] == "CAL-1 (past due)"
    assert (
        "past due when used"
        in dict(dict(certificate_text(made).facts)["Analyzer"])["Values with letter a"]
    )


@pytest.mark.parametrize("form", ["pdf", "html", "dcc"])
def test_papers_say_how_each_point_was_measured(form: str) -> None:
    leak = result("as_left", "leak", "leakage", load_ohm=200).model_copy(
        update={"path": "LEAKAGE", "mode": "bipolar", "setting_w": 80.0}
    )
    half = [
        result("as_left", "half", f"half {load:g} ohm", load_ohm=load).model_copy(
            update={"mode": "blend", "setting_w": setting_w}
        )
        for load, setting_w in ((100.0, 200.0), (200.0, 99.5))
    ]
    trim = result("adjust", "trim", "P3", load_ohm=100)
    text = text_in(form, certificate_of(a_run([leak, *half, trim])))
    for words in (
        "bipolar, 80 W into 200 Ω, path LEAKAGE",
        "blend",
        "200 W into 100 Ω" if form == "dcc" else "half 100 Ω 200 W",
        "99.5 W into 200 Ω" if form == "dcc" else "half 200 Ω 99.5 W",
        "cut, service mode",
    ):
        assert squeezed(words) in text, words


@pytest.mark.parametrize("form", ["pdf", "html", "dcc", "csv"])
def test_papers_say_whose_word_a_setting_is(form: str) -> None:
    one = result("as_left", "cut", "500 ohm").model_copy(update={"setting_told_by": "Oda Brandvik"})
    text = text_in(form, certificate_of(a_run([one])))
    words = "Oda Brandvik" if form == "csv" else "set as told by Oda Brandvik"
    assert squeezed(words) in text


def test_a_spreadsheet_has_mode_setting_load_and_path_of_each(certificate: Certificate) -> None:
    first, *_, trim = rows_of(certificate)
    told = ("mode", "setting_w", "load_ohm", "path")
    assert [first[key] for key in told] == ["cut", "300.0", "100.0", "OUTPUT"]
    assert [trim[key] for key in told] == ["cut", "", "500.0", "OUTPUT"]


def test_a_part_without_an_end_may_go_on_still(interrupted: tuple[Event, ...]) -> None:
    """Its record is that of a run that somebody works on now, too."""
    first, point, _, resumed, *_ = interrupted
    before, now = interruption_lines(parts_of_run((first, point, resumed)))
    assert "UTC: no reason is on record." in before
    assert "no end is on record after" in now
    assert "it goes on still, or was cut short" in now


def test_a_crash_has_no_reason_and_may_have_left_rf_on(interrupted: tuple[Event, ...]) -> None:
    first, point, _, resumed, *rest = interrupted
    opened = ActivationOpened(**later(4.5), load_ohm=500, limit_s=20)
    made = certificate_of((first, point, opened, resumed, *rest))
    assert made.parts[0].cut_short_by == REASON_NOT_RECORDED
    work = dict(dict(certificate_text(made).facts)["Work"])
    assert work["RF on for"] == (
        "at most 280 s, and at most 20 s more: an activation has no end on record"
    )
    closed = ActivationClosed(**later(4.6), on_s=5)
    ended = certificate_of((first, point, opened, closed, resumed, *rest))
    assert all(part.unrecorded_on_s == 0 for part in ended.parts)


@pytest.mark.parametrize("form", ["pdf", "html", "dcc"])
def test_papers_name_the_documents_of_the_record(form: str) -> None:
    one = document("analyzer command set", Path("own.toml"), "x = 1\n")
    first, *rest = a_run(points=1)
    text = text_in(form, certificate_of((first, DocumentKept(**later(0), document=one), *rest)))
    for words in ("analyzer command set", "own.toml", one.sha256):
        assert squeezed(words) in text


@pytest.fixture
def old() -> tuple[Event, ...]:
    """Written by a version whose results do not say how they were measured.

    Its certificate was taken out of the bench before the run was resumed.
    """
    ((_, events),) = read_runs(OLD.read_bytes().splitlines(keepends=True), OLD.name)
    return events


def test_an_old_record_tells_by_its_budgets_what_values_rest_on(old: tuple[Event, ...]) -> None:
    first, second = parts_of_run(old)
    (certified,) = first.results
    assert certified.traceability is not None
    assert certified.traceability != "none"
    assert certified.traceability.certificate == "CAL-25-1187"
    assert [r.traceability for r in second.results] == ["none", "none"]
    bare = certified.model_copy(update={"traceability": None})
    bare = bare.model_copy(update={"measured": bare.measured.model_copy(update={"budget": ()})})
    assert parts_of_run((PointDone(**later(1), result=bare),))[0].results[0].traceability is None


def test_an_old_record_makes_papers_that_invent_nothing(old: tuple[Event, ...]) -> None:
    certificate = certificate_of(old)
    for form in ("pdf", "html", "dcc"):
        text = text_in(form, certificate)
        assert squeezed("mode, setting and path not recorded") in text
        assert squeezed("Part 2: resumed") in text
    assert {row["path"] for row in rows_of(certificate)} == {"not recorded"}
    assert {row["mode"] for row in rows_of(certificate)} == {"not recorded"}
    assert certificate_text(certificate).documents == ()


def test_an_old_record_counts_its_first_part_too(old: tuple[Event, ...]) -> None:
    finished = old[-1]
    assert isinstance(finished, RunFinished)
    certificate = certificate_of(old)
    closed = [e.on_s for e in old if isinstance(e, ActivationClosed)]
    assert certificate.on_s >= sum(closed) > finished.on_s
    earlier, _ = split_at_resumptions(old)
    assert certificate.on_s == pytest.approx(finished.on_s + on_time_s(earlier))
    assert certificate.bench_time_s > finished.bench_time_s + 5


def test_a_line_of_a_budget_of_readings_alone_is_no_certificate() -> None:
    one = result("as_left", "cut", "a").model_copy(update={"traceability": None})
    alone = BudgetEntry(source="readings", evaluation="A", standard_uncertainty=0.6)
    one = one.model_copy(update={"measured": one.measured.model_copy(update={"budget": (alone,)})})
    assert certificate_of(a_run([one])).marks.bases == ("none",)


def test_names_in_an_interruption_are_only_text(hostile: str) -> None:
    first, *rest = a_run(points=1, operator=hostile)
    fault = Fault(**later(1), error="X", message=hostile, rf_state="off", on_s=1.0)
    again = RunResumed(**later(2), operator=hostile, done=0)
    page = Page(certificate_html(certificate_text(certificate_of((first, fault, again, *rest)))))
    harmless = fault.model_copy(update={"message": "x"})
    events = (a_run(points=1)[0], harmless, again, *rest)
    plain = Page(certificate_html(certificate_text(certificate_of(events))))
    assert page.tags == plain.tags


@pytest.mark.parametrize(("error", "shown"), [(-0.0002, "+0.0"), (-0.0006, "−0.1"), (0.0, "+0.0")])
def test_an_error_that_rounds_to_nothing_has_no_minus(error: float, shown: str) -> None:
    sheet = certificate_text(certificate_of(a_run([result("as_found", "cut", "a", error=error)])))
    assert [row.found.error for group in sheet.groups for row in group.rows] == [shown]
