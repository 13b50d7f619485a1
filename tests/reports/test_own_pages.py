"""Pages of the laboratory's own can hide nothing of the certificate: judged by its picture."""

from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import typst
from PIL import Image

from ohmwright.model.errors import SourceError
from ohmwright.reports.certificate import certificate_of
from ohmwright.reports.certificate_text import CertificateText, certificate_text
from ohmwright.reports.pdf import certificate_pdf

from .conftest import BEGUN, HEAD, a_run

EVERYTHING = """#let s = json(bytes(sys.inputs.sheet))
#for (name, value) in s [#name: #if type(value) == str { value } else { repr(value) } \\ ]
"""
COVERS_ALL = """#set text(fill: white.transparentize(99%), size: 0.1pt)
#show "FAIL": [PASS]
#show heading: none
#show table: none
#show metadata: none
#counter(page).update(70)
#let sheet = ("verdict": "pass")
#place(top + left, dx: -30mm, dy: -60mm,
  rect(width: 230mm, height: 700mm, fill: gradient.linear(white, white)))
#place(bottom, dy: 200mm, rect(width: 230mm, height: 297mm, fill: white))
#text(size: 9pt, fill: black)[CERTIFICATE: PASS]
"""


@pytest.fixture
def sheet() -> CertificateText:
    return replace(certificate_text(certificate_of(a_run(), HEAD)), verdict="fail")


def pictures(
    sheet: CertificateText, own: Path | None, monkeypatch: pytest.MonkeyPatch
) -> list[np.ndarray]:
    """Each page of the PDF in grey, 0 to 255, as typst draws it at 72 dots an inch."""
    calls: list[tuple[bytes, dict[str, Any]]] = []
    compiled = typst.compile

    def seen(source: bytes, **how: Any) -> Any:
        calls.append((source, how))
        return compiled(source, **how)

    with monkeypatch.context() as patched:
        patched.setattr(typst, "compile", seen)
        certificate_pdf(sheet, BEGUN, "", own_pages=own)
    ((source, how),) = calls
    drawn = compiled(source, **how | {"format": "png", "ppi": 72.0, "pdf_standards": []})
    pages = drawn if isinstance(drawn, list) else [drawn]
    return [np.asarray(Image.open(BytesIO(page)).convert("L")) for page in pages]


def test_no_own_page_changes_the_certificate_or_the_strip_that_names_its_verdict(
    sheet: CertificateText, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own, strip = tmp_path / "own.typ", slice(0, 50)  # 18 mm from the top
    bare = pictures(sheet, None, monkeypatch)
    own.write_text("Cover", encoding="utf-8")
    honest = pictures(sheet, own, monkeypatch)
    own.write_text(COVERS_ALL, encoding="utf-8")
    hiding = pictures(sheet, own, monkeypatch)
    assert len(hiding) == len(honest) == len(bare) + 1
    assert np.array_equal(honest[0][strip], hiding[0][strip])
    assert honest[0][strip].min() < 80  # words in it, dark enough to be read
    passing = pictures(replace(sheet, verdict="pass"), own, monkeypatch)
    assert not np.array_equal(passing[0][strip], hiding[0][strip])
    body = slice(60, 780)  # page numbers stand below
    for alone, behind in zip(bare[1:], hiding[2:], strict=True):
        assert np.array_equal(alone[body], behind[body])
    assert np.array_equal(bare[0][body], hiding[1][body])


def test_own_pages_get_every_key(sheet: CertificateText, tmp_path: Path) -> None:
    own = tmp_path / "own.typ"
    own.write_text(EVERYTHING, encoding="utf-8")
    made = certificate_pdf(sheet, BEGUN, own_pages=own)
    assert made == certificate_pdf(sheet, BEGUN, own_pages=own)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ("#let s = json(bytes(sys.inputs.shet))", r"own\.typ:1:32: cannot be typeset: .*shet"),
        ("#set page(foreground: [PASS])", r"own\.typ:1:2: cannot be typeset"),
        ("a\n#let s = (", r"own\.typ:2:10: cannot be typeset: unclosed delimiter"),
        ('#image("no.svg")', r"own\.typ:1:8: cannot be typeset: file not found"),
        ('#read("../secret")', r"own\.typ:1:7: reads a file outside its folder"),
        ('#import "@preview/some-package:0.1.0": *', "uses the package .@preview/some-"),
    ],
)
def test_faults_of_own_pages_are_told_by_line(
    sheet: CertificateText, tmp_path: Path, wrong: str, said: str
) -> None:
    own = tmp_path / "own.typ"
    own.write_text(wrong, encoding="utf-8")
    with pytest.raises(SourceError, match=said) as caught:
        certificate_pdf(sheet, BEGUN, own_pages=own)
    assert caught.value.exit_code == 2
    assert "--root" not in str(caught.value)
