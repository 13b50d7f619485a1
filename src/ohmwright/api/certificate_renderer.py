"""Renders the papers of a finished run: as a draft, as they were issued, or as a copy of that."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC
from functools import cached_property
from pathlib import Path

from ohmwright.engine.contradictions import contradictions
from ohmwright.engine.run_so_far import recorded_unit
from ohmwright.model.bench_file import Asset
from ohmwright.model.errors import RecordError, UsageError
from ohmwright.model.event import Event
from ohmwright.model.typed_command import typed_command
from ohmwright.records.chain import StoredRun
from ohmwright.records.json_lines import run_lines
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.trust import TrustedKeys, other_names, signers
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.certificate_text import CertificateText, certificate_text
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.html import certificate_html
from ohmwright.reports.issue import Issue, issue_of
from ohmwright.reports.label import label
from ohmwright.reports.pdf import certificate_pdf
from ohmwright.reports.typesetting import Form, Picture, picture_of
from ohmwright.reports.verdict_grounds import may_be_accredited

from .certificate_files import CertificateOptions
from .issued_paper import OTHER_FILE, copy_text, is_issued_file
from .laboratory import Laboratory, PaperWords, find_laboratory, paper_data
from .paths import file_name_safe
from .signature_notes import notes_on_signatures

_LABEL_FORMS: dict[str, Form] = {".svg": "svg", ".pdf": "pdf", ".png": "png"}


class CertificateRenderer:
    """Returns the content of each kind of certificate file of one run."""

    def __init__(
        self,
        certificate: Certificate,
        record: str,
        options: CertificateOptions,
        laboratory: Laboratory | None = None,
        untrusted: str = "",
    ) -> None:
        self.certificate, self.record, self.options = certificate, record, options
        self.laboratory, self.untrusted = laboratory, untrusted
        """`untrusted`: which keys that signed are not trusted here, whatever the paper says."""

    @cached_property
    def sheet(self) -> CertificateText:
        """The whole text of the certificate."""
        return certificate_text(self.certificate)

    @cached_property
    def _logo(self) -> Picture | None:
        """The logo; it may hold a mark of accreditation, and stands only where that may."""
        logo = self.certificate.issue.paper.logo
        vouches = self.certificate.vouches and may_be_accredited(self.certificate.results)
        return picture_of(logo) if logo is not None and vouches else None

    @property
    def signs(self) -> bool:
        """Whether digital certificates are signed: approved, by a key of the laboratory file."""
        named = self.laboratory is not None and self.laboratory.data.signature is not None
        return named and not self.certificate.is_draft

    def name(self) -> str:
        """Return asset, date and number as a file name without ending, valid on every system."""
        day = f"{self.certificate.ended_at.astimezone(UTC):%Y-%m-%d}"
        parts = (self.certificate.asset.id, day, self.certificate.issue.number)
        named = "-".join(_file_name_part(part) for part in parts)
        if self.certificate.issue.void:
            return f"{named}-void"
        return f"{named}-draft" if self.certificate.is_draft else named

    def pdf(self, _: Path = Path()) -> bytes:
        """Return a PDF/A-3b with the record attached.

        Raises SourceError where pages of the laboratory's own cannot be typeset.
        """
        return self._issued_or_copy("pdf", self._pdf_of)

    def _pdf_of(self, sheet: CertificateText) -> bytes:
        own_pages, at = self.options.own_pages, self.certificate.dated
        return certificate_pdf(sheet, at, self.record, logo=self._logo, own_pages=own_pages)

    def html(self, _: Path = Path()) -> bytes:
        """Return the certificate as one HTML file."""
        return self._issued_or_copy(
            "html", lambda sheet: certificate_html(sheet, self._logo).encode()
        )

    def _issued_or_copy(self, kind: str, make: Callable[[CertificateText], bytes]) -> bytes:
        """The file of that kind; it says so where it is another than the issued one.

        That its words are those of the issued paper was seen before (`copy_text`).
        """
        made, issued = make(self.sheet), self.certificate.issue.issued
        if issued is None or self.sheet.void or self.sheet.copy:
            return made
        if is_issued_file(made, kind, issued):
            return made
        return make(self.sheet.as_copy(OTHER_FILE))

    def csv(self, _: Path) -> bytes:
        """Return the results as CSV."""
        return certificate_csv(self.certificate)

    def dcc(self, _: Path) -> bytes:
        """Return the digital calibration certificate (XML).

        Signed where it is approved and the laboratory file names a key; validated where a schema is
        given.
        """
        from ohmwright.reports.dcc import certificate_dcc
        from ohmwright.reports.dcc_schema import check_schema
        from ohmwright.reports.dcc_signature import signed_dcc

        document = certificate_dcc(self.certificate, self.options.country)
        signing = None if self.laboratory is None else self.laboratory.signature_files()
        if signing is not None and self.signs:
            document = signed_dcc(document, *signing)
        if self.options.schema is not None:
            check_schema(document, self.options.schema)
        return document

    def label(self, path: Path) -> bytes:
        """Return the label, as SVG, PDF or PNG by the ending of `path`; UsageError for others."""
        form = _LABEL_FORMS.get(path.suffix.lower())
        if form is None:
            raise UsageError(
                f"{path}: a label is an SVG, PDF or PNG file.",
                do="Give a name that ends in .svg, .pdf or .png.",
            )
        return label(self.certificate, self.options.label_size, form=form, due=self.options.due)


def certificate_renderer(
    store: SqlStore, run_id: str, trusted: TrustedKeys, options: CertificateOptions
) -> CertificateRenderer:
    """Return the renderer for a finished run; a PDF has the record attached as exported.

    Raises RecordError where the store lacks records that this computer has seen in it, since an
    older copy of a store may not hold the latest results of a unit.
    """
    with store.database.read() as connection:
        store.refuse_loss(connection)
    store.remember_ledger()
    run = store.stored_run(run_id)
    made = renderer_of_run(store, run, trusted, options)
    copy = copy_text(made.certificate, made.sheet, options.own_pages)
    if not copy:
        return made
    marked = replace(made.certificate, copy=copy)
    return CertificateRenderer(marked, made.record, options, made.laboratory, made.untrusted)


def renderer_of_run(
    store: SqlStore, run: StoredRun, trusted: TrustedKeys, options: CertificateOptions
) -> CertificateRenderer:
    """Return the renderer for a run as it is given, whatever paper was issued of it."""
    events = store.events(run.run_id)
    _refuse_contradictions(run.run_id, events)
    laboratory = find_laboratory(options.words.laboratory, store.database.place)
    issue = _issue(run, laboratory, options.words, recorded_unit(events))
    untrusted = " ".join(notes_on_signatures(run, trusted))
    as_issued = _note_as_issued(run, trusted)
    note = untrusted if as_issued is None else as_issued
    certificate = certificate_of(events, run.head.hex(), note, issue)
    record = b"".join(line + b"\n" for line in run_lines(_as_attached(run)))
    return CertificateRenderer(certificate, record.decode(), options, laboratory, untrusted)


def _note_as_issued(run: StoredRun, trusted: TrustedKeys) -> str | None:
    """The note on keys that the paper was issued with; None where it does not count here.

    It is the word of whoever issued the paper: their key must be trusted, else anybody could issue
    one without a note. Nothing may have been declared of the run since.
    """
    issue = run.addenda[-1:]
    if not issue or issue[0].statement.issued is None:
        return None
    (signer,) = signers(issue)
    if signer.key not in trusted or other_names(signer, trusted):
        return None
    return issue[0].statement.issued.trust_note


def _refuse_contradictions(run_id: str, events: Sequence[Event]) -> None:
    """Raise RecordError where the values or the procedure on record say otherwise than a result."""
    differing = [f"event {number}: {said}" for number, said in contradictions(events)]
    if differing:
        raise RecordError(
            f"Run {run_id}: {'; '.join(differing)}.",
            "A paper would certify a verdict against its own record. No paper was written.",
            f"Hold the record against a copy: {typed_command('record verify')}; measure the unit "
            "anew.",
        )


def _as_attached(run: StoredRun) -> StoredRun:
    """The run as it is attached to its paper, which cannot hold its own hash."""
    if run.addenda and run.addenda[-1].statement.what == "issued":
        return replace(run, addenda=run.addenda[:-1])
    return run


def _issue(
    run: StoredRun, laboratory: Laboratory | None, words: PaperWords, unit: Asset | None
) -> Issue:
    """The issue of a run: by the words on record, else by what is told now. Raises UsageError."""
    sealed = None if run.seal is None else run.seal.statement
    issue = issue_of(run.run_id, run.addenda, sealed=sealed, unit=unit)
    if not issue.on_record:
        return issue_of(run.run_id, run.addenda, paper_data(laboratory, words), sealed, unit)
    if words.said or _is_another(laboratory, words, issue):
        raise UsageError(
            f"The certificate of run {run.run_id} was approved or amended with other words on "
            "record.",
            "Laboratory, customer, place and receipt are part of what was signed. Nothing was "
            "written.",
            f"To change them: {typed_command(f'record amend {run.run_id} --reason WHY')} with "
            "the same options.",
        )
    return issue


def _is_another(laboratory: Laboratory | None, words: PaperWords, issue: Issue) -> bool:
    """Whether a laboratory file was named, and it is not that of the words on record."""
    if words.laboratory is None or laboratory is None:
        return False
    signed = issue.paper.laboratory
    return signed is None or signed.name != laboratory.data.name


def _file_name_part(text: str) -> str:
    """Return `text` as a part of a file name, at most 60 characters and not empty."""
    return file_name_safe(text)[:60].strip("-") or "unit"
