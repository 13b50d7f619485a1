"""`certificate`: the papers of a finished run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date
from functools import cached_property
from pathlib import Path

from rich.text import Text

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

from .console import out, print_json, say
from .open_records import existing_records, meant, trusted_keys
from .places import plain

_FORMS: dict[str, Form] = {".svg": "svg", ".pdf": "pdf", ".png": "png"}


@dataclass(frozen=True)
class Options:
    """What the papers need that no record has."""

    due: date | None = None
    label_size: LabelSize = field(default_factory=LabelSize)
    country: str | None = None
    schema: Path | None = None
    overwrite: bool = False


@dataclass(frozen=True)
class Wanted:
    """Which papers, and where; all absent is PDF and HTML in the current folder."""

    pdf: Path | None = None
    html: Path | None = None
    csv: Path | None = None
    dcc: Path | None = None
    label: Path | None = None
    all: Path | None = None

    def files(self, name: str) -> dict[str, Path]:
        """The kind and the place of each; `name` is what they are called by default."""
        if self.all is not None:
            ends = {"pdf": "pdf", "html": "html", "csv": "csv", "dcc": "xml", "label": "label.svg"}
            return {kind: self.all / f"{name}.{end}" for kind, end in ends.items()}
        kinds = ("pdf", "html", "csv", "dcc", "label")
        given = {kind: path for kind in kinds if (path := getattr(self, kind)) is not None}
        return given or {kind: Path(f"{name}.{kind}") for kind in ("pdf", "html")}


class Papers:
    """Makes each paper of one run when it is asked for."""

    def __init__(self, certificate: Certificate, record: str, options: Options) -> None:
        self.certificate, self._record, self._options = certificate, record, options

    @cached_property
    def _sheet(self) -> CertificateText:
        return certificate_text(self.certificate)

    def name(self) -> str:
        """Asset, date and run, as a file name that every system takes."""
        day = f"{self.certificate.ended_at.astimezone(UTC):%Y-%m-%d}"
        parts = (self.certificate.asset.id, day, self.certificate.run_id)
        return "-".join(_plain(part) for part in parts)

    def pdf(self, _: Path) -> bytes:
        """PDF/A-3b with the record attached."""
        return certificate_pdf(self._sheet, self.certificate.ended_at, self._record)

    def html(self, _: Path) -> bytes:
        """One HTML file."""
        return certificate_html(self._sheet).encode()

    def csv(self, _: Path) -> bytes:
        """Results as CSV."""
        return certificate_csv(self.certificate)

    def dcc(self, _: Path) -> bytes:
        """Digital calibration certificate, held against the schema where one is given."""
        from ohmwright.reports.dcc import UNKNOWN_COUNTRY, certificate_dcc
        from ohmwright.reports.dcc_schema import check_schema

        document = certificate_dcc(self.certificate, self._options.country or UNKNOWN_COUNTRY)
        if self._options.schema is not None:
            check_schema(document, self._options.schema)
        return document

    def label(self, path: Path) -> bytes:
        """The label, in the form that the ending of `path` names."""
        form = _FORMS.get(path.suffix.lower())
        if form is None:
            raise UsageError(
                f"{path}: a label is an SVG, PDF or PNG file.", do="Give a name that ends in one."
            )
        return label(self.certificate, self._options.label_size, form=form, due=self._options.due)


def papers_of(store: SqlStore, run_id: str, trusted: TrustedKeys, options: Options) -> Papers:
    """The papers of a run; its record is attached as `record export` writes it.

    Raises RecordError where the store lacks what this computer has seen of it: what an older
    copy says of a unit may have been overtaken.
    """
    with store.database.read() as connection:
        store.refuse_loss(connection)
    events, head = store.events(run_id), store.head(run_id)
    note = "; ".join(map(_seal_note, _untrusted(store, run_id, trusted)))
    certificate = certificate_of(events, head, note)
    record = b"".join(line + b"\n" for line in run_lines(store.stored_run(run_id)))
    return Papers(certificate, record.decode(), options)


def _untrusted(store: SqlStore, run_id: str, trusted: TrustedKeys) -> list[Signer]:
    """Who sealed the run with a key that is not trusted here."""
    sealed = signers(seals(store.database), (run_id,))
    return [signer for signer in sealed if signer.key not in trusted]


def _seal_note(signer: Signer) -> str:
    """What papers say of a seal by a key that is not trusted."""
    return (
        f"Not known who sealed the record: key {signer.fingerprint}, said to be of "
        f"{', '.join(signer.operators)}, was not trusted where this paper was made."
    )


def write_papers(papers: Papers, wanted: Wanted, *, overwrite: bool) -> dict[str, Path]:
    """Make every paper, then write them; return their places.

    Raises UsageError where another file is in the way: then nothing is written.
    """
    files = wanted.files(papers.name())
    made: dict[Path, bytes] = {}
    for kind, path in files.items():
        make: Callable[[Path], bytes] = getattr(papers, kind)
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
    wanted: Wanted,
    options: Options,
    *,
    as_json: bool,
) -> None:
    """Write the papers of a run and say where they are; and a seal by a key not trusted."""
    with existing_records(records) as store:
        run_id = meant(store, run)
        papers = papers_of(store, run_id, trusted_keys(trusted), options)
    if papers.certificate.seal_note:
        say(papers.certificate.seal_note)
    if options.due is not None and papers.certificate.verdict != "pass":
        say(f"The label has no due date: the verdict is {papers.certificate.verdict}.")
    files = write_papers(papers, wanted, overwrite=options.overwrite)
    if as_json:
        said = {kind: str(path) for kind, path in files.items()}
        print_json({"run": run_id, "verdict": papers.certificate.verdict, "files": said})
        return
    for path in files.values():
        out().print(Text(f"Written: {path}"), soft_wrap=True)
    if "dcc" in files and options.country is None:
        out().print("The digital certificate names no country: give it with --country.")


def label_size(text: str) -> LabelSize:
    """`50x25` in mm. Raises UsageError."""
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
    """Two capital letters of ISO 3166-1. Raises UsageError."""
    if text is None or (len(text) == 2 and text.isascii() and text.isalpha() and text.isupper()):
        return text
    raise UsageError(
        f"--country {text}: this is no country code.", do="Write its two capital letters, as in DE."
    )


def _plain(text: str) -> str:
    """`text` as part of a file name."""
    return plain(text)[:60].strip("-") or "unit"


def _write(path: Path, content: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    except OSError as problem:
        raise RecordError(f"{path}: cannot be written: {problem.strerror}.") from None
