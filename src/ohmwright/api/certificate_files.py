"""The certificate files of a finished run: where they go, what may be asked of them, writing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.reports.label import LabelSize

from .laboratory import PaperWords
from .output_file import refuse_ending_of_another

if TYPE_CHECKING:
    from .certificate_renderer import CertificateRenderer


_FORMS = {"pdf": "PDF", "html": "HTML", "csv": "CSV", "dcc": "XML"}
"""What each kind of file holds; a label is written as what its ending says."""


@dataclass(frozen=True)
class CertificateOptions:
    """What a certificate needs beside the record.

    `due`: next calibration, on the label. `own_pages`: typst file of the laboratory's own pages.
    """

    due: date | None = None
    label_size: LabelSize = field(default_factory=LabelSize)
    country: str | None = None
    schema: Path | None = None
    overwrite: bool = False
    words: PaperWords = field(default_factory=PaperWords)
    own_pages: Path | None = None


@dataclass(frozen=True)
class OutputPaths:
    """Which files to write; without any, PDF and HTML in the current folder."""

    pdf: Path | None = None
    html: Path | None = None
    csv: Path | None = None
    dcc: Path | None = None
    label: Path | None = None
    all: Path | None = None

    def files(self, name: str) -> dict[str, Path]:
        """Return the path of each kind of file; `name`: file name without ending by default."""
        if self.all is not None:
            ends = {"pdf": "pdf", "html": "html", "csv": "csv", "dcc": "xml", "label": "label.svg"}
            return {kind: self.all / f"{name}.{end}" for kind, end in ends.items()}
        kinds = ("pdf", "html", "csv", "dcc", "label")
        given = {kind: path for kind in kinds if (path := getattr(self, kind)) is not None}
        return given or {kind: Path(f"{name}.{kind}") for kind in ("pdf", "html")}


def write_certificate_files(
    renderer: CertificateRenderer, paths: OutputPaths, *, overwrite: bool
) -> dict[str, Path]:
    """Render every file, then write them; return the path of each kind.

    Raises UsageError, and writes nothing, where a file of other content exists and `overwrite` is
    false, or its ending denies what it would hold; RecordError where a file cannot be written.
    """
    files = paths.files(renderer.name())
    for kind, form in _FORMS.items():
        if kind in files:
            refuse_ending_of_another(
                files[kind], form, means="Nothing was written.", do="Give it another ending."
            )
    made: dict[Path, bytes] = {}
    for kind, path in files.items():
        make: Callable[[Path], bytes] = getattr(renderer, kind)
        made[path] = make(path)
    for path, content in made.items():
        if path.exists() and not overwrite and path.read_bytes() != content:
            raise UsageError(
                f"{path} exists and says something else.",
                "Nothing was written.",
                "Give another name, or --overwrite.",
            )
    for path, content in made.items():
        _write(path, content)
    return files


def _write(path: Path, content: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    except OSError as problem:
        raise RecordError(f"{path}: cannot be written: {problem.strerror}.") from None
