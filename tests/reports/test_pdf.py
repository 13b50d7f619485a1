"""The PDF as a reader finds it: text, attachment, conformance, and nothing that acts."""

import re
from collections.abc import Callable
from dataclasses import replace
from io import BytesIO
from typing import Any

import pytest
from pypdf import PdfReader

from ohmwright.reports import typesetting
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.certificate_text import certificate_text
from ohmwright.reports.pdf import certificate_pdf
from ohmwright.reports.text import printable

from .conftest import BEGUN, HEAD, a_run, result

RECORD = '{"kind":"run_started"}\n'


def pdf_of(certificate: Certificate, record: str = RECORD) -> bytes:
    return certificate_pdf(certificate_text(certificate), certificate.ended_at, record)


def text_of(pdf: bytes) -> str:
    """Every word of the file; pypdf puts spaces where typst moved, so there are none."""
    pages = PdfReader(BytesIO(pdf)).pages
    return squeezed("".join(page.extract_text() for page in pages))


def squeezed(text: str) -> str:
    return re.sub(r"[\s\u200b]", "", text)


def test_it_says_what_an_auditor_asks(certificate: Certificate) -> None:
    text = text_of(pdf_of(certificate))
    for words in (
        "Draft of a certificate of calibration",
        "Imre Valdane",
        "HF-031",
        "Gantry 400",
        "CAL-1",
        "2025-08-01, due 2026-08-01",
        "22.5 °C, 41 % relative humidity",
        "2026-03-02 09:30 UTC",
        "Monopolar output",
        "ab" * 32,
        "ohmwright 0.1.0",
        "99.0 ± 1.2",
        "120.0 ± 1.2",
        "90.0 to 110.0 W",
        "4 to −33",
        "Decision rule: simple acceptance",
        "6 s of an activation, lag taken off",
        HEAD,
        "Page 1 of 2",
    ):
        assert squeezed(words) in text, words


def test_it_is_pdf_a_with_the_record_in_it(certificate: Certificate) -> None:
    reader = PdfReader(BytesIO(pdf_of(certificate)))
    assert reader.attachments["record.jsonl"] == [RECORD.encode()]
    metadata = reader.xmp_metadata
    assert metadata is not None
    said = metadata.rdf_root.toxml()
    assert "<pdfaid:part>3</pdfaid:part>" in said
    assert "<pdfaid:conformance>B</pdfaid:conformance>" in said


def test_the_same_record_is_the_same_file(certificate: Certificate) -> None:
    assert pdf_of(certificate) == pdf_of(certificate_of(a_run(), HEAD))


def many(points: int, **names: Any) -> Certificate:
    """As many points, of one load resistance: no curves, which take their time to draw."""
    stages = ("as_found", "as_left")
    found = [result(stage, "cut", f"setting {n}") for stage in stages for n in range(points)]
    return certificate_of(a_run(found, **names))


def test_a_simulated_run_is_marked_on_every_page() -> None:
    made = pdf_of(many(90, seed=7))
    pages = [page.extract_text() for page in PdfReader(BytesIO(made)).pages]
    assert len(pages) > 2
    assert all("SIMULATED" in text for text in pages)
    assert "seed7" in squeezed(pages[0])
    assert "SIMULATED" not in text_of(pdf_of(many(90)))


def test_three_hundred_points_repeat_their_heading() -> None:
    pages = PdfReader(BytesIO(pdf_of(many(300)))).pages
    tables = [t for page in pages if "Value ± U" in (t := page.extract_text())]
    assert len(tables) >= 5
    assert all("As found" in text for text in tables)
    assert sum(len(re.findall("PASS", text)) for text in tables) >= 600


def test_a_note_stays_on_the_page_of_its_point() -> None:
    sheet = certificate_text(certificate_of(a_run(points=40), HEAD))
    for bare in range(5):  # steps without a note, which move the break between the pages
        groups = tuple(
            replace(group, rows=tuple(replace(row, compared=f"note {n}") for row in group.rows))
            if n >= bare
            else group
            for n, group in enumerate(sheet.groups)
        )
        pdf = certificate_pdf(replace(sheet, groups=groups), BEGUN, RECORD)
        for page in PdfReader(BytesIO(pdf)).pages:
            lines = page.extract_text().splitlines()
            above = [lines[at - 1] for at, line in enumerate(lines) if line.startswith("note ")]
            assert [line for line in above if "Ω" not in line] == []


def test_hostile_names_are_only_text(named: Callable[[str], Certificate], hostile: str) -> None:
    pdf = pdf_of(named(hostile))
    assert text_of(pdf).count(squeezed(printable(hostile))) >= 8
    reader = PdfReader(BytesIO(pdf))
    assert "/OpenAction" not in reader.trailer["/Root"]
    assert not [page for page in reader.pages if "/Annots" in page]


@pytest.mark.parametrize("name", ["Ωμέγα Ďábelský", "Больница имени Орлова", "مستشفى النور", "בית"])
def test_scripts_of_the_shipped_fonts(named: Callable[[str], Certificate], name: str) -> None:
    made = named(name)
    assert pdf_of(made) == pdf_of(made)
    if name.isascii() or name[0] in "ΩБ":  # a right-to-left text is extracted in another order
        assert squeezed(name) in text_of(pdf_of(made))
    assert "‹U+" not in text_of(pdf_of(made))


def test_a_character_without_a_font_shows_its_code(
    named: Callable[[str], Certificate], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(typesetting, "_lent_by_system", lambda wanted: {})
    text = text_of(pdf_of(named("聖病院 1")))
    assert text.count("‹U+8056›‹U+75C5›‹U+9662›1") >= 8
    assert "Charactersthatnofontathandhas" in text
    long = PdfReader(BytesIO(pdf_of(named("聖病院" * 20)))).pages
    codes = re.findall("‹[^›]*›", "".join(page.extract_text() for page in long))
    assert len(codes) > 400
    assert [code for code in codes if re.search(r"\s", code)] == [], "a code is on one line"


def test_a_long_name_stays_on_the_page(named: Callable[[str], Certificate]) -> None:
    name = "Generatorenaufbereitungsabteilungswerkstatt" * 4
    assert squeezed(name) in text_of(pdf_of(named(name)))
