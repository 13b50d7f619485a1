"""Papers of values by an analyzer whose certificate was past due, and of figures typed."""

import csv
from datetime import date
from io import StringIO

from ohmwright.model.result import Result, SweepValue
from ohmwright.reports.certificate_text import certificate_text
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.dcc import certificate_dcc
from ohmwright.reports.html import certificate_html
from ohmwright.reports.label import LabelSize, label, qr_text, why_not_due
from ohmwright.reports.result_tables import step_groups

from . import conftest
from .test_label import words_of
from .test_verdict_grounds import approved, point

PAST_DUE = "analyzer past due"
EXPIRED = conftest.CERTIFICATE.model_copy(update={"expired": True})


def test_the_verdict_says_that_the_analyzer_was_past_due() -> None:
    sheet = certificate_text(approved(point(EXPIRED)))
    assert (sheet.verdict, sheet.verdict_qualified) == ("pass", PAST_DUE)
    assert sheet.left_qualified == PAST_DUE
    assert f'<b class="ground">{PAST_DUE}</b>' in certificate_html(sheet)
    assert sum("was past due when it was used" in note for note in sheet.notes) == 1
    in_date = certificate_text(approved(point(conftest.CERTIFICATE)))
    assert not any("past due" in note for note in in_date.notes)


def test_beside_what_no_certificate_covers_both_are_said() -> None:
    both = approved(point(EXPIRED), point("not covered", "contact"))
    assert certificate_text(both).verdict_qualified == f"in part not traceable, {PAST_DUE}"


def test_the_label_says_it_and_has_no_due_date() -> None:
    made = approved(point(EXPIRED))
    assert why_not_due(made) == f"the verdict is pass, {PAST_DUE}"
    said = words_of(label(made, LabelSize(), form="pdf", due=date(2027, 3, 2)))
    assert ("2027-03-02" in said, "PAST" in said.upper()) == (False, True)
    assert PAST_DUE in qr_text(made)


def test_a_program_is_told_no_conformity() -> None:
    made = certificate_dcc(approved(point(EXPIRED)), "AQ").decode()
    assert "<dcc:conformity>" not in made
    assert f"Result of the whole: pass, {PAST_DUE}" in made
    assert f"Verdict: pass, {PAST_DUE}" in made
    assert "<dcc:conformity>pass" in certificate_dcc(
        approved(point(conftest.CERTIFICATE)), "AQ"
    ).decode().replace(" ", "").replace("\n", "")


def test_a_spreadsheet_says_it_beside_the_verdict() -> None:
    text = certificate_csv(approved(point(EXPIRED))).decode("utf-8-sig")
    (row,) = csv.DictReader(StringIO(text))
    assert (row["verdict"], row["verdict_by"]) == ("pass", PAST_DUE)


def test_a_sweep_is_told_to_have_no_limits() -> None:
    sheet = certificate_text(approved(limitless()))
    assert (sheet.verdict, sheet.verdict_found) == ("measured", "measured")
    assert sheet.verdict_qualified == "no limits to decide by"
    made = certificate_dcc(approved(limitless()), "AQ").decode()
    assert "Result of the whole: measured, no limits to decide by" in made
    assert "undecided," not in made
    said = words_of(label(approved(limitless()), LabelSize(), form="pdf"))
    assert ("MEASURED" in said, "LIMITED" in said, "pointspass" in said) == (True, False, False)


def limitless() -> Result:
    one = conftest.result("as_found", "sweep", "500 ohm")
    nothing = {"target": None, "conformity": None, "verdict": "undecided"}
    return one.model_copy(update=nothing | {"sweep": SweepValue(repeat=1, settled=True)})


def test_of_a_typed_figure_the_instrument_is_told_as_not_on_record() -> None:
    sheet = certificate_text(approved(point("another instrument", "answer")))
    (note,) = [one for one in sheet.notes if one.startswith("Figures that a person read")]
    assert "(cut)" in note
    assert "not on record unless a remark says it" in note
    assert "as the person named it" not in note


def test_of_a_typed_figure_the_instrument_is_told_as_it_was_named() -> None:
    typed = point("another instrument", "answer").model_copy(
        update={"said": "0.1", "path": "none", "instrument": "ST-2, serial 4711"}
    )
    sheet = certificate_text(approved(typed))
    (note,) = [one for one in sheet.notes if one.startswith("Figures that a person read")]
    assert "(cut): the instrument is as the person named it" in note
    assert "not on record unless" not in note
    assert [group.at for group in step_groups(approved(typed))] == [
        "read from ST-2, serial 4711; answered by not recorded"
    ]
    (row,) = csv.DictReader(StringIO(certificate_csv(approved(typed)).decode("utf-8-sig")))
    assert row["instrument"] == "ST-2, serial 4711"
