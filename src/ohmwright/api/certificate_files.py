"""The certificate files of a finished run, rendered and written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date
from functools import cached_property
from pathlib import Path

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.records.json_lines import run_lines
from ohmwright.records.queries import signatures
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.trust import Signer, TrustedKeys, signers
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.certificate_text import CertificateText, certificate_text
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.html import certificate_html
from ohmwright.reports.label import LabelSize, label
from ohmwright.reports.pdf import certificate_pdf
from ohmwright.reports.typesetting import Form

from .paths import file_name_safe

_LABEL_FORMS: dict[str, Form] = {".svg": "svg", ".pdf": "pdf", ".png": "png"}


@dataclass(frozen=True)
class CertificateOptions:
    """What a certificate needs beside the record; `due`: next calibration, on the label."""

    due: date | None = None
    label_size: LabelSize = field(default_factory=LabelSize)
    country: str | None = None
    schema: Path | None = None
    overwrite: bool = False


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


class CertificateRenderer:
    """Returns the content of each kind of certificate file of one run."""

    def __init__(self, certificate: Certificate, record: str, options: CertificateOptions) -> None:
        self.certificate, self._record, self._options = certificate, record, options

    @cached_property
    def _sheet(self) -> CertificateText:
        return certificate_text(self.certificate)

    def name(self) -> str:
        """Return asset, date and run id as a file name without ending, valid on every system."""
        day = f"{self.certificate.ended_at.astimezone(UTC):%Y-%m-%d}"
        parts = (self.certificate.asset.id, day, self.certificate.run_id)
        return "-".join(_file_name_part(part) for part in parts)

    def pdf(self, _: Path) -> bytes:
        """Return a PDF/A-3b with the record attached."""
        return certificate_pdf(self._sheet, self.certificate.ended_at, self._record)

    def html(self, _: Path) -> bytes:
        """Return the certificate as one HTML file."""
        return certificate_html(self._sheet).encode()

    def csv(self, _: Path) -> bytes:
        """Return the results as CSV."""
        return certificate_csv(self.certificate)

    def dcc(self, _: Path) -> bytes:
        """Return the digital calibration certificate (XML), validated where a schema is given."""
        from ohmwright.reports.dcc import UNKNOWN_COUNTRY, certificate_dcc
        from ohmwright.reports.dcc_schema import check_schema

        document = certificate_dcc(self.certificate, self._options.country or UNKNOWN_COUNTRY)
        if self._options.schema is not None:
            check_schema(document, self._options.schema)
        return document

    def label(self, path: Path) -> bytes:
        """Return the label, as SVG, PDF or PNG by the ending of `path`; UsageError for others."""
        form = _LABEL_FORMS.get(path.suffix.lower())
        if form is None:
            raise UsageError(
                f"{path}: a label is an SVG, PDF or PNG file.", do="Give a name that ends in one."
            )
        return label(self.certificate, self._options.label_size, form=form, due=self._options.due)


def certificate_renderer(
    store: SqlStore, run_id: str, trusted: TrustedKeys, options: CertificateOptions
) -> CertificateRenderer:
    """Return the renderer for a finished run; a PDF has the record attached as exported.

    Raises RecordError where the store lacks records that this computer has seen in it, since an
    older copy of a store may not hold the latest results of a unit.
    """
    with store.database.read() as connection:
        store.refuse_loss(connection)
    events, head = store.events(run_id), store.head(run_id)
    note = "; ".join(map(_seal_note, _untrusted(store, run_id, trusted)))
    certificate = certificate_of(events, head, note)
    record = b"".join(line + b"\n" for line in run_lines(store.stored_run(run_id)))
    return CertificateRenderer(certificate, record.decode(), options)


def _untrusted(store: SqlStore, run_id: str, trusted: TrustedKeys) -> list[Signer]:
    """Return who sealed the run with a key that is not trusted here."""
    sealed = signers(signatures(store.database), (run_id,))
    return [signer for signer in sealed if signer.key not in trusted]


def _seal_note(signer: Signer) -> str:
    """Return the note on a certificate about a seal by a key that is not trusted."""
    return (
        f"Not known who sealed the record: key {signer.fingerprint}, said to be of "
        f"{', '.join(signer.operators)}, was not trusted where this paper was made."
    )


def write_certificate_files(
    renderer: CertificateRenderer, paths: OutputPaths, *, overwrite: bool
) -> dict[str, Path]:
    """Render every file, then write them; return the path of each kind.

    Raises UsageError, and writes nothing, where a file of other content exists and `overwrite` is
    false; RecordError where a file cannot be written.
    """
    files = paths.files(renderer.name())
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


def _file_name_part(text: str) -> str:
    """Return `text` as a part of a file name, at most 60 characters and not empty."""
    return file_name_safe(text)[:60].strip("-") or "unit"


def _write(path: Path, content: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    except OSError as problem:
        raise RecordError(f"{path}: cannot be written: {problem.strerror}.") from None
