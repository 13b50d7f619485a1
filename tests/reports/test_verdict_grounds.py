"""Papers of values that no analyzer certificate covers: no words, figures or dates beyond that."""

import csv
from dataclasses import replace
from datetime import date
from io import BytesIO, StringIO

import pytest
from pypdf import PdfReader

from ohmwright.engine.run import overall_verdict
from ohmwright.model.paper import PaperData, Party
from ohmwright.model.result import Result, TraceabilityBasis
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.certificate_text import certificate_text
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.dcc import certificate_dcc
from ohmwright.reports.html import certificate_html
from ohmwright.reports.issue import Issue, Signature
from ohmwright.reports.label import LabelSize, label, qr_text, why_not_due
from ohmwright.reports.pdf import certificate_pdf

from . import conftest
from .test_label import words_of

ALONE = "not traceable"
ACCREDITED = "Accredited, No. 0"
APPROVED = Issue(
    "1",
    approvals=(Signature("A. Fenn", conftest.BEGUN, "ab"),),
    paper=PaperData(laboratory=Party(name="Fennel"), accreditation=ACCREDITED),
)


def point(basis: TraceabilityBasis, name: str = "500 ohm", *, error: float = 0.01) -> Result:
    one = conftest.result("as_left", "cut", name, error=error)
    return one.model_copy(update={"traceability": basis})


def approved(*found: Result) -> Certificate:
    return certificate_of(conftest.a_run(list(found)), conftest.HEAD, "", APPROVED)


@pytest.fixture(params=["none", "not covered"])
def alone(request: pytest.FixtureRequest) -> Certificate:
    """An approved run of which no value rests on an analyzer certificate."""
    return approved(point(request.param), point("no scale", "crest factor"))


IN_PART = (point(conftest.CERTIFICATE), point("not covered", "contact"))
WHOLE = (point(conftest.CERTIFICATE), point("no scale", "crest factor"))


def test_without_a_certificate_it_is_a_report_without_accreditation(alone: Certificate) -> None:
    sheet = certificate_text(alone)
    assert (sheet.title, sheet.letterhead.accreditation) == ("Report of measurement", "")
    assert (sheet.verdict, sheet.verdict_qualified) == ("pass", ALONE)
    paper = certificate_html(sheet) + certificate_dcc(alone, "AQ").decode()
    assert (ACCREDITED in paper, "ertificate of calibration" in paper) == (False, False)
    draft = certificate_text(certificate_of(conftest.a_run([point("none")])))
    assert draft.title == "Draft of a report of measurement"


def test_with_a_certificate_it_is_one_and_accredited() -> None:
    sheet = certificate_text(approved(*WHOLE))
    assert (sheet.title, sheet.letterhead.accreditation) == (
        "Certificate of calibration",
        ACCREDITED,
    )
    assert sheet.verdict_qualified == ""
    for lacking in ({"expired": True}, {"serial": ""}):  # nothing in it ties it to the analyzer
        basis = conftest.CERTIFICATE.model_copy(update=lacking)
        assert certificate_text(approved(point(basis))).letterhead.accreditation == ""
    named = conftest.CERTIFICATE.model_copy(update={"serial": "S9"})
    assert certificate_text(approved(point(named))).letterhead.accreditation == ACCREDITED


def test_where_only_some_values_are_covered_it_says_which() -> None:
    sheet = certificate_text(approved(*IN_PART))
    assert sheet.verdict_qualified == f"in part {ALONE}"
    assert sheet.letterhead.accreditation.startswith(
        f"{ACCREDITED}. Not for results without an analyzer certificate"
    )
    covered, other = sheet.groups[0].rows
    assert (covered.left.alone, other.left.alone) == ("", "*")
    assert any(note.startswith("* behind a verdict: ") for note in sheet.notes)


def test_no_page_states_what_another_denies(alone: Certificate) -> None:
    sheet = certificate_text(alone)
    (row, crest) = sheet.groups[0].rows
    assert (row.left.probability, row.left.ratio, row.left.alone) == ("", "", "*")
    assert (crest.left.probability, crest.left.ratio, crest.left.alone) == ("99.8", "8.1", "")
    bare = certificate_text(approved(point("none")))
    for words in ("95 % coverage", "probability that", "Risk of the decisions"):
        assert not any(words in note for note in bare.notes), words
        assert any(words in note for note in certificate_text(approved(*WHOLE)).notes), words
    assert sum("no conformity of the output" in note for note in bare.notes) == 1


def test_the_words_are_as_large_as_the_verdict(alone: Certificate) -> None:
    pdf = certificate_pdf(certificate_text(alone), alone.dated)
    sizes: dict[str, set[float]] = {}

    def seen(text: str, _: object, matrix: list[float], __: object, size: float) -> None:
        for word in ("PASS", "traceable"):
            if word in text:
                sizes.setdefault(word, set()).add(round(size * abs(matrix[3]), 1))

    PdfReader(BytesIO(pdf)).pages[0].extract_text(visitor_text=seen)
    assert max(sizes["PASS"]) == max(sizes["traceable"]) >= 20
    head, _, body = certificate_html(certificate_text(alone)).partition("</header>")
    for words in (head, body.partition("</p>")[0]):  # in the size of the verdicts there
        assert f'<b class="ground">{ALONE}</b>' in words
    void = replace(alone, issue=replace(alone.issue, void="another unit"))
    assert certificate_text(void).verdict_qualified == ""  # there is no verdict to qualify
    assert ALONE not in qr_text(void)
    assert certificate_text(void).left_qualified == ALONE  # what was measured stands on it


def test_each_stage_is_qualified_by_its_own_values() -> None:
    found = point("none").model_copy(update={"stage": "as_found"})
    sheet = certificate_text(approved(found, *WHOLE))
    assert (sheet.found_qualified, sheet.left_qualified) == (ALONE, "")
    _, _, body = certificate_html(sheet).partition("</header>")
    assert body.partition("As left")[0].count(ALONE) == 1
    assert ALONE not in body.partition("As left")[2].partition("</p>")[0]


def test_the_digital_certificate_states_no_conformity_and_no_coverage(alone: Certificate) -> None:
    document = certificate_dcc(alone, "AQ").decode()
    assert f"Result of the whole: pass, {ALONE}" in document
    assert f"Verdict: pass, {ALONE}" in document
    # those of the crest factor, which needs no scale of the analyzer
    for element in ("conformity", "coverageProbability", "Probability of conformity"):
        assert document.count(f"{element}>0.95") + document.count(f"<dcc:{element}>") <= 1
    bare = certificate_dcc(approved(point("none")), "AQ").decode()
    for words in ("<dcc:conformity>", "0.95", "Probability of conformity", "uncertainty ratio"):
        assert words not in bare
        assert words in certificate_dcc(approved(*WHOLE), "AQ").decode()


def test_the_whole_conforms_only_where_all_is_covered() -> None:
    def stated(*found: Result) -> str:
        events = list(conftest.a_run(list(found)))
        events[-1] = events[-1].model_copy(update={"verdict": overall_verdict(found)})
        document = certificate_dcc(certificate_of(events, conftest.HEAD, "", APPROVED)).decode()
        whole = document.split("Result of the whole")[1].split("</dcc:statement>")[0]
        _, _, after = whole.partition("<dcc:conformity>")
        return after.partition("<")[0]

    assert (stated(*WHOLE), stated(*IN_PART)) == ("pass", "")
    assert stated(point(conftest.CERTIFICATE, error=0.2), IN_PART[1]) == "fail"
    assert stated(IN_PART[0], point("none", "contact", error=0.2)) == ""
    bad = point(conftest.CERTIFICATE, error=0.2).model_copy(update={"stage": "as_found"})
    assert stated(bad, *IN_PART) == ""  # it was adjusted, and the whole is a pass
    assert stated(bad, *WHOLE) == "pass"
    assert stated(bad, IN_PART[1]) == "fail"  # it was not measured again


def test_a_spreadsheet_has_no_probability_without_its_ground(alone: Certificate) -> None:
    row, crest = csv.DictReader(StringIO(certificate_csv(alone).decode("utf-8-sig")))
    for name, said, of_crest in (
        ("probability", "", "0.998"),
        ("uncertainty_ratio", "", "8.1"),
        ("verdict_by", ALONE, ""),
    ):
        assert (row[name], crest[name]) == (said, of_crest), name


@pytest.mark.parametrize(
    ("certificate", "why"),
    [
        (approved(*WHOLE), ""),
        (certificate_of(conftest.a_run(list(WHOLE))), "nobody has approved the certificate"),
        (approved(*IN_PART), f"the verdict is pass, in part {ALONE}"),
        (approved(point("none")), f"the verdict is pass, {ALONE}"),
    ],
)
def test_a_due_date_stands_only_on_what_is_approved_and_traceable(
    certificate: Certificate, why: str
) -> None:
    assert why_not_due(certificate) == why
    made = label(certificate, LabelSize(), form="pdf", due=date(2027, 3, 2))
    said = words_of(made)
    assert ("2027-03-02" in said) == (not why)
    assert (ALONE in qr_text(certificate)) == ("traceable" in why)
    assert ("traceable" in said) == ("traceable" in why)
