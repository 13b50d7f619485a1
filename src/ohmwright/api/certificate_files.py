"""The certificate files of a finished run, rendered and written."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date
from functools import cached_property
from pathlib import Path

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.records.chain import StoredRun
from ohmwright.records.json_lines import run_lines
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.trust import TrustedKeys, other_names, signers
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.certificate_text import CertificateText, certificate_text
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.html import certificate_html
from ohmwright.reports.issue import Issue, issue_of
from ohmwright.reports.label import LabelSize, label
from ohmwright.reports.pdf import CERTIFICATE_TEMPLATE, certificate_pdf
from ohmwright.reports.typesetting import Form, Picture

from .laboratory import Laboratory, PaperWords, find_laboratory, paper_data
from .paths import file_name_safe

_LABEL_FORMS: dict[str, Form] = {".svg": "svg", ".pdf": "pdf", ".png": "png"}


@dataclass(frozen=True)
class CertificateOptions:
    """What a certificate needs beside the record.

    `due`: next calibration, on the label. `template`: what lays out the PDF.
    """

    due: date | None = None
    label_size: LabelSize = field(default_factory=LabelSize)
    country: str | None = None
    schema: Path | None = None
    overwrite: bool = False
    words: PaperWords = field(default_factory=PaperWords)
    template: Path = CERTIFICATE_TEMPLATE


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

    def __init__(
        self,
        certificate: Certificate,
        record: str,
        options: CertificateOptions,
        laboratory: Laboratory | None = None,
    ) -> None:
        self.certificate, self._record, self._options = certificate, record, options
        self.laboratory = laboratory

    @cached_property
    def _sheet(self) -> CertificateText:
        return certificate_text(self.certificate)

    @cached_property
    def _logo(self) -> Picture | None:
        return None if self.laboratory is None else self.laboratory.logo()

    @property
    def signs(self) -> bool:
        """Whether digital certificates are signed: whether the laboratory file names a key."""
        return self.laboratory is not None and self.laboratory.data.signature is not None

    def name(self) -> str:
        """Return asset, date and number as a file name without ending, valid on every system."""
        day = f"{self.certificate.ended_at.astimezone(UTC):%Y-%m-%d}"
        parts = (self.certificate.asset.id, day, self.certificate.issue.number)
        return "-".join(_file_name_part(part) for part in parts)

    def pdf(self, _: Path) -> bytes:
        """Return a PDF/A-3b with the record attached."""
        return certificate_pdf(
            self._sheet,
            self.certificate.dated,
            self._record,
            logo=self._logo,
            template=self._options.template,
        )

    def html(self, _: Path) -> bytes:
        """Return the certificate as one HTML file."""
        return certificate_html(self._sheet, self._logo).encode()

    def csv(self, _: Path) -> bytes:
        """Return the results as CSV."""
        return certificate_csv(self.certificate)

    def dcc(self, _: Path) -> bytes:
        """Return the digital calibration certificate (XML).

        Signed where the laboratory file names a key; validated where a schema is given.
        """
        from ohmwright.reports.dcc import certificate_dcc
        from ohmwright.reports.dcc_schema import check_schema
        from ohmwright.reports.dcc_signature import signed_dcc

        document = certificate_dcc(self.certificate, self._options.country)
        signing = None if self.laboratory is None else self.laboratory.signature_files()
        if signing is not None:
            document = signed_dcc(document, *signing)
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
    events, run = store.events(run_id), store.stored_run(run_id)
    laboratory = find_laboratory(options.words.laboratory, store.database.place)
    sealed_by = None if run.seal is None else run.seal.statement.key
    issue = issue_of(run_id, run.addenda, paper_data(laboratory, options.words), sealed_by)
    if issue.on_record and (options.words.said or _is_another(laboratory, options.words, issue)):
        raise UsageError(
            f"The certificate of run {run_id} was approved or amended with other words on record.",
            "Laboratory, customer, place and receipt are part of what was signed. Nothing was "
            "written.",
            "To change them: ohmwright record amend RUN --reason WHY with the same options.",
        )
    note = " ".join(_notes_on_signatures(run, trusted))
    certificate = certificate_of(events, run.head.hex(), note, issue)
    record = b"".join(line + b"\n" for line in run_lines(run))
    return CertificateRenderer(certificate, record.decode(), options, laboratory)


def _is_another(laboratory: Laboratory | None, words: PaperWords, issue: Issue) -> bool:
    """Whether a laboratory file was named, and it is not that of the words on record."""
    if words.laboratory is None or laboratory is None:
        return False
    signed = issue.paper.laboratory
    return signed is None or signed.name != laboratory.data.name


def _notes_on_signatures(run: StoredRun, trusted: TrustedKeys) -> Iterator[str]:
    """Yield a note for each key that signed, and is not trusted here or under another name."""
    sealed = () if run.seal is None else (run.seal,)
    for what, signed in (
        ("sealed the record", signers(sealed)),
        ("approved, amended or voided it", signers(run.addenda)),
    ):
        for signer in signed:
            if signer.key not in trusted:
                yield (
                    f"Not known who {what}: key {signer.fingerprint}, said to be of "
                    f"{', '.join(signer.operators)}, was not trusted where this paper was made."
                )
            elif names := other_names(signer, trusted):
                yield (
                    f"Key {signer.fingerprint}, which {what} as {', '.join(names)}, was trusted as "
                    f"{trusted.owner(signer.key)}'s where this paper was made."
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
