"""The command `certificate`: write the certificate files of a finished run."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

from rich.text import Text

from ohmwright.api.certificate_files import (
    CertificateOptions,
    OutputPaths,
    write_certificate_files,
)
from ohmwright.api.certificate_renderer import certificate_renderer
from ohmwright.api.laboratory import unnamed_customer
from ohmwright.api.open_records import resolved_run_id
from ohmwright.fleet.worklist import months_later
from ohmwright.model.errors import UsageError
from ohmwright.model.source import read_text
from ohmwright.records.asset_register import AssetRegister
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.certificate import Certificate
from ohmwright.reports.label import LabelSize, why_not_due

from .console import out, print_json, print_notice
from .open_records import open_existing_records, trusted_keys


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
        renderer = certificate_renderer(store, run_id, trusted_keys(trusted, store), options)
        by_register = _due_by_register(store, renderer.certificate)
    if options.due is not None:
        _refuse_past_due(options.due, renderer.certificate.ended_at)
    if renderer.untrusted:
        print_notice(renderer.untrusted)
    paper = renderer.certificate.issue.paper
    if question := unnamed_customer(renderer.laboratory, paper):
        print_notice(f"{question} Say for whom with --customer.")
    if renderer.certificate.issue.void:
        print_notice(f"This run is void: {renderer.certificate.issue.void}")
    if options.due is not None and (why := why_not_due(renderer.certificate)):
        print_notice(f"The label has no due date: {why}.")
    files = write_certificate_files(renderer, paths, overwrite=options.overwrite)
    if "label" in files and options.due is None and not why_not_due(renderer.certificate):
        print_notice(f"The label has no due date: give it with --next-due{by_register}.")
    if as_json:
        said = {kind: str(path) for kind, path in files.items()}
        print_json({"run": run_id, "verdict": renderer.certificate.verdict, "files": said})
        return
    for path in files.values():
        out().print(Text(f"Written: {path}"), soft_wrap=True)
    if "dcc" not in files:
        return
    if options.country is None and renderer.certificate.issue.paper.country is None:
        out().print("The digital certificate names no country: give it with --country.")
    if not renderer.signs:
        draft = renderer.certificate.is_draft
        why = "nobody approved it" if draft else "the laboratory file names no key"
        out().print(f"The digital certificate is not signed: {why}.")


def _due_by_register(store: SqlStore, certificate: Certificate) -> str:
    """Return the day that follows from the unit's interval, as is typed; empty for none."""
    found = AssetRegister(store.database).find(certificate.asset.id)
    if found is None:
        return ""
    done, months = certificate.ended_at.astimezone(UTC).date(), found.asset.interval_months
    return f" {months_later(done, months)}, by its interval of {months} months in the register"


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


def own_pages_file(path: Path | None) -> Path | None:
    """Return the whole path of a file of own pages. Raises SourceError where there is none."""
    if path is None:
        return None
    read_text(path)
    return path.resolve()


def country_code(text: str | None) -> str | None:
    """Return `text` if it has the form of an ISO 3166-1 alpha-2 code. Raises UsageError."""
    if text is None or (len(text) == 2 and text.isascii() and text.isalpha() and text.isupper()):
        return text
    raise UsageError(
        f"--country {text}: this is no country code.",
        do="Write its two capital letters of ISO 3166-1.",
    )
