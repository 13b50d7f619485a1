"""The command `certificate`: write the certificate files of a finished run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from functools import cached_property
from pathlib import Path

from rich.text import Text

from ohmwright.api.open_records import resolved_run_id
from ohmwright.api.paths import file_name_safe
from ohmwright.model.errors import RecordError, UsageError
from ohmwright.records.json_lines import run_lines
from ohmwright.records.queries import seals
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.trust import Signer, TrustedKeys, signers
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.certificate_text import CertificateText, certificate_text
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.html import certificate_html
from ohmwright.reports.label import LabelSize, label
from ohmwright.reports.pdf import certificate_pdf
from ohmwright.reports.typesetting import Form

from .console import out, print_json, print_notice
from .open_records import open_existing_records, trusted_keys

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
    sealed = signers(seals(store.database), (run_id,))
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


def run_certificate(
    run: str,
    records: str | None,
    trusted: Path | None,
    paths: OutputPaths,
    options: CertificateOptions,
    *,
    as_json: bool,
) -> None:
    """Write the certificate files of a run and print their paths; a note on an untrusted seal.

    Raises UsageError, and writes nothing, where the due date is not after the day of the work.
    """
    with open_existing_records(records) as store:
        run_id = resolved_run_id(store, run)
        renderer = certificate_renderer(store, run_id, trusted_keys(trusted), options)
    if options.due is not None:
        _refuse_past_due(options.due, renderer.certificate.ended_at)
    if renderer.certificate.seal_note:
        print_notice(renderer.certificate.seal_note)
    if options.due is not None and renderer.certificate.verdict != "pass":
        print_notice(f"The label has no due date: the verdict is {renderer.certificate.verdict}.")
    files = write_certificate_files(renderer, paths, overwrite=options.overwrite)
    if as_json:
        said = {kind: str(path) for kind, path in files.items()}
        print_json({"run": run_id, "verdict": renderer.certificate.verdict, "files": said})
        return
    for path in files.values():
        out().print(Text(f"Written: {path}"), soft_wrap=True)
    if "dcc" in files and options.country is None:
        out().print("The digital certificate names no country: give it with --country.")


def _refuse_past_due(due: date, ended_at: datetime) -> None:
    """Raise UsageError unless `due` is later than the day of the work (UTC)."""
    done = ended_at.astimezone(UTC).date()
    if due <= done:
        raise UsageError(
            f"--next-due {due}: the work was done on {done}.",
            "A label with that date would say that the unit is past due. Nothing was written.",
            "Give a later date.",
        )


def label_size(text: str) -> LabelSize:
    """Parse a size such as `50x25`, width by height in mm. Raises UsageError."""
    try:
        width_mm, height_mm = (float(part) for part in text.lower().split("x"))
    except ValueError:
        width_mm = height_mm = 0.0
    if not (20 <= width_mm <= 200 and 10 <= height_mm <= 100 and width_mm >= 1.5 * height_mm):
        raise UsageError(
            f"--label-size {text}: no size that a label can have.",
            "It is width x height in mm, 20 to 200 by 10 to 100, at least half as wide again.",
            "Write 50x25.",
        )
    return LabelSize(width_mm, height_mm)


def country_code(text: str | None) -> str | None:
    """Return `text` if it has the form of an ISO 3166-1 alpha-2 code. Raises UsageError."""
    if text is None or (len(text) == 2 and text.isascii() and text.isalpha() and text.isupper()):
        return text
    raise UsageError(
        f"--country {text}: this is no country code.", do="Write its two capital letters, as in DE."
    )


def _file_name_part(text: str) -> str:
    """Return `text` as a part of a file name, at most 60 characters and not empty."""
    return file_name_safe(text)[:60].strip("-") or "unit"


def _write(path: Path, content: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    except OSError as problem:
        raise RecordError(f"{path}: cannot be written: {problem.strerror}.") from None
