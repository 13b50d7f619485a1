"""The label: its size, its words, its code."""

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from io import BytesIO

import pytest
import zxingcpp
from PIL import Image
from pypdf import PdfReader

from ohmwright.model.result import Verdict
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.certificate_text import certificate_text
from ohmwright.reports.dcc import certificate_dcc
from ohmwright.reports.details import detail_blocks
from ohmwright.reports.issue import Issue
from ohmwright.reports.label import LabelSize, label, qr_text, why_not_due
from ohmwright.reports.text import printable

from .conftest import HEAD, a_run
from .test_pdf import squeezed


def words_of(pdf: bytes) -> str:
    (page,) = PdfReader(BytesIO(pdf)).pages
    return squeezed(page.extract_text())


@pytest.mark.parametrize("size", [LabelSize(), LabelSize(70, 30), LabelSize(30, 15)])
def test_it_is_one_page_of_the_size_asked(certificate: Certificate, size: LabelSize) -> None:
    (page,) = PdfReader(BytesIO(label(certificate, size, form="pdf"))).pages
    mm = 72 / 25.4
    assert float(page.mediabox.width) == pytest.approx(size.width_mm * mm, abs=0.01)
    assert float(page.mediabox.height) == pytest.approx(size.height_mm * mm, abs=0.01)


def test_it_says_what_was_done_and_when(certificate: Certificate) -> None:
    said = words_of(label(certificate, LabelSize(), form="pdf", due=date(2027, 3, 2)))
    for words in ("HF-031", "Quillon300", "PASSED", "Done2026-03-02", "notapproved", HEAD[:12]):
        assert words in said
    assert "Due" not in said


@pytest.mark.parametrize(
    ("verdict", "says"),
    [
        ("fail", ["FAILED"]),
        ("undecided", ["LIMITED", "Undecided:", "pointspass"]),
        ("not measured", ["LIMITED", "Notmeasured:", "pointspass"]),
    ],
)
def test_only_a_unit_that_passed_is_due_again(
    certificate: Certificate, verdict: Verdict, says: list[str]
) -> None:
    other = replace(certificate, verdict=verdict)
    said = words_of(label(other, LabelSize(), form="pdf", due=date(2027, 3, 2)))
    assert "Due" not in said
    assert "2027" not in said
    assert "PASS" not in said
    assert [word for word in says if word not in said] == []


def share_of_black(certificate: Certificate) -> float:
    """Of the left half of the label, which has the words."""
    picture = Image.open(BytesIO(label(certificate, LabelSize(), form="png"))).convert("L")
    words = picture.crop((0, 0, picture.width // 2, picture.height))
    return sum(words.histogram()[:128]) / (words.width * words.height)


def test_a_unit_that_failed_and_a_void_label_are_told_from_afar(certificate: Certificate) -> None:
    passed = share_of_black(certificate)
    assert share_of_black(replace(certificate, verdict="fail")) > passed + 0.05
    void = replace(certificate, issue=Issue("new", void="another unit"))
    assert share_of_black(void) > passed + 0.05
    assert share_of_black(replace(certificate, verdict="undecided")) < passed + 0.05


def test_how_many_points_pass(certificate: Certificate) -> None:
    lines = [line for line in certificate.lines if line.last.verdict == "pass"][:2]
    doubtful = lines[0].last.model_copy(update={"verdict": "undecided"})
    lines[0] = replace(lines[0], left=doubtful)
    other = replace(certificate, verdict="undecided", lines=tuple(lines), adjustments=())
    assert "Undecided:1of2pointspass" in words_of(label(other, LabelSize(), form="pdf"))


def test_the_code_names_run_and_hash(certificate: Certificate) -> None:
    assert f"head {HEAD}" in qr_text(certificate)
    assert certificate.run_id in qr_text(certificate)
    simulated = qr_text(certificate_of(a_run(seed=1)))
    assert "SIMULATED" in simulated
    for code in (qr_text(certificate), simulated):
        last = code.splitlines()[-1]
        assert last == f"asset {certificate.asset.id}", "a line after it is the next scan"


def test_forms(certificate: Certificate) -> None:
    assert label(certificate, LabelSize(), form="svg").startswith(b"<svg")
    png = label(certificate, LabelSize(), form="png")
    assert png.startswith(b"\x89PNG")
    assert int.from_bytes(png[16:20], "big") == pytest.approx(50 / 25.4 * 600, abs=1)
    assert png == label(certificate, LabelSize(), form="png")


def test_hostile_and_long_names(named: Callable[[str], Certificate], hostile: str) -> None:
    name = (hostile + " ") * 3
    assert squeezed(printable(name)) in words_of(label(named(name), LabelSize(), form="pdf"))


@pytest.mark.parametrize("size", [LabelSize(), LabelSize(30, 15)])
def test_a_reader_of_codes_reads_the_label(certificate: Certificate, size: LabelSize) -> None:
    picture = Image.open(BytesIO(label(certificate, size, form="png")))
    (code,) = zxingcpp.read_barcodes(picture)
    assert code.text == qr_text(certificate)
    assert certificate.head in code.text


@pytest.mark.parametrize("size", [LabelSize(), LabelSize(30, 15)])
def test_long_names_take_more_lines_and_push_nothing_off_the_label(size: LabelSize) -> None:
    names = {
        "id": "STO-ENDOSCOPY-THEATRE-04/HF-2024-000317-B",
        "model": "Quillon 300 Surgical Generator, export version",
        "serial": "TQ3-20417-REV.C-000000017",
    }
    long = certificate_of(a_run(**names), HEAD)
    reader = PdfReader(BytesIO(label(long, size, form="pdf", due=date(2027, 3, 2))))
    (page,) = reader.pages
    said = squeezed(page.extract_text())
    for words in (*names.values(), "PASSED", "Done 2026-03-02", "not approved", HEAD[:12]):
        assert squeezed(words) in said, words
    assert "\n" in page.extract_text().split("Quillon")[0].strip()  # the id, on several lines


def test_a_label_for_a_void_run_and_a_new_issue(certificate: Certificate) -> None:
    issue = Issue("new-2", replaces="new", void="another unit")
    other = replace(certificate, issue=issue)
    assert why_not_due(other) == "the run is void"
    said = words_of(label(other, LabelSize(), form="pdf", due=date(2027, 3, 2)))
    assert "VOID" in said
    assert "PASS" not in said
    assert "Due" not in said
    assert qr_text(other).splitlines()[1:4] == [
        "void",
        f"run {certificate.run_id}",
        "certificate new-2",
    ]


@pytest.mark.parametrize(
    ("answers", "read"), [("Tessenhove,Quillon 300,TQ3-1,1", True), ("", False)]
)
def test_a_serial_number_that_nobody_read_is_as_told(answers: str, read: bool) -> None:
    started, *rest = a_run()
    told = certificate_of((started.model_copy(update={"generator": answers}), *rest), HEAD)
    said = words_of(label(told, LabelSize(), form="pdf"))
    assert ("SNTQ3-1" in said, "astold" in said) == (True, not read)
    (unit,) = (dict(facts) for name, facts in detail_blocks(told) if name == "Unit under test")
    by = "" if read else " (as told by the bench file, not read from the unit)"
    assert unit["Serial number"] == f"TQ3-1{by}"
    assert (f"Serial of the item{by}." in certificate_dcc(told).decode()) is not read
    assert (f"The item answers as {answers}." in certificate_dcc(told).decode()) is read
    other = replace(told, asset=told.asset.model_copy(update={"serial": "X-9"}), unread="")
    assert "SNX-9ascorrected" in words_of(label(other, LabelSize(), form="pdf"))


def test_a_draft_says_who_began_an_unattended_run_and_by_which_clock() -> None:
    account = {"account": "imre", "operator": "unattended"}
    for seed, said in ((None, False), (3, True)):
        started, *rest = a_run(seed=seed)
        started = started.model_copy(update={**account, "run_id": "20260701T093000Z-HF-031-ab12"})
        made = certificate_of((started, *rest), HEAD)
        assert certificate_text(made).carried_out_by == "unattended, begun from the account imre"
        (work,) = (dict(facts) for name, facts in detail_blocks(made) if name == "Work")
        assert ("by the simulated bench's own clock" in work["Begun"]) == said
