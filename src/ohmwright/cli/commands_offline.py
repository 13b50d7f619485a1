"""Declarations of `certificate`, `lint`, `checks`, `schema`, `guide`: no instrument is opened."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from .option_groups import with_option_groups
from .options import (
    DAY_FORM,
    AcceptExpired,
    Json,
    OwnPages,
    PaperOptions,
    ProcedurePath,
    RecordsPlace,
    RunArgument,
    Trusted,
    Unattended,
    day,
)


@with_option_groups
def certificate(
    *,
    run: RunArgument = "last",
    pdf: Annotated[Path | None, typer.Option(help="PDF/A with the record attached.")] = None,
    html: Annotated[Path | None, typer.Option(help="The same as one HTML file.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Results for a spreadsheet.")] = None,
    dcc: Annotated[Path | None, typer.Option(help="Digital calibration certificate (XML).")] = None,
    label: Annotated[Path | None, typer.Option(help="Label: .svg, .pdf or .png.")] = None,
    all_: Annotated[
        Path | None, typer.Option("--all", metavar="FOLDER", help="Every one, into a folder.")
    ] = None,
    next_due: Annotated[
        datetime | None, typer.Option(parser=day, metavar=DAY_FORM, help="Next due, for the label.")
    ] = None,
    size: Annotated[str, typer.Option("--label-size", help="In mm.")] = "50x25",
    country: Annotated[
        str | None, typer.Option(help="ISO 3166-1 code for the digital certificate.")
    ] = None,
    schema_file: Annotated[
        Path | None, typer.Option("--schema", help="Hold it against this dcc.xsd.")
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace other files.")] = False,
    own_pages: OwnPages = None,
    paper: PaperOptions,
    records: RecordsPlace = None,
    trusted: Trusted = None,
    as_json: Json = False,
) -> None:
    """Write the certificate of a finished run; by default PDF and HTML, into this folder."""
    from ohmwright.api.certificate_files import CertificateOptions, OutputPaths

    from .certificate_command import country_code, label_size, own_pages_file, run_certificate

    due = None if next_due is None else next_due.date()
    options = CertificateOptions(
        due,
        label_size(size),
        country_code(country),
        schema_file,
        overwrite,
        paper.words(),
        own_pages_file(own_pages),
    )
    paths = OutputPaths(pdf, html, csv, dcc, label, all_)
    run_certificate(run, records, trusted, paths, options, as_json=as_json)


def lint(
    procedure: ProcedurePath,
    bench: Annotated[Path | None, typer.Option("--bench", help="Bench file (TOML).")] = None,
    unattended: Unattended = False,
    accept_expired: AcceptExpired = False,
    as_json: Json = False,
) -> None:
    """Check a procedure, and whether a bench can do and decide it, without touching anything."""
    from .lint_command import run_lint

    code = run_lint(
        procedure, bench, unattended=unattended, accept_expired=accept_expired, as_json=as_json
    )
    raise typer.Exit(code)


def checks(as_json: Json = False) -> None:
    """Check this installation: known values through the code that a job runs."""
    from .checks_command import run_checks

    raise typer.Exit(run_checks(as_json=as_json))


def schema(
    folder: Annotated[Path, typer.Argument(help="Where to write.")] = Path("schemas"),
) -> None:
    """Write the JSON Schemas of procedure, bench, data and event files."""
    from .schema_command import write_schemas

    raise typer.Exit(write_schemas(folder))


def guide(
    topic: Annotated[
        str | None, typer.Argument(metavar="TOPIC", help="Default: list them.")
    ] = None,
) -> None:
    """Show a page of the guide: procedures, benches, records, safety and so on."""
    from .guide_command import show_guide

    raise typer.Exit(show_guide(topic))
