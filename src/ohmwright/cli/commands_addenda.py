"""Declarations of `record approve`, `amend`, `void` and `reinstate`."""

from dataclasses import replace
from typing import Annotated

import typer

from .option_groups import with_option_groups
from .options import (
    By,
    LaboratoryPath,
    OwnPages,
    PaperOptions,
    Reason,
    RecordsPlace,
    RunArgument,
)


def add_commands(app: typer.Typer) -> None:
    """Add these commands to those of `record`."""
    for command in (approve, amend, void, reinstate):
        app.command()(command)


@with_option_groups
def approve(
    *,
    run: RunArgument,
    paper: PaperOptions,
    own_pages: OwnPages = None,
    by: By = None,
    records: RecordsPlace = None,
) -> None:
    """Sign with your key that the results of a run are released, and issue its certificate.

    What its papers state of laboratory, customer and receipt becomes part of the record, and so
    does the SHA-256 of the paper that is issued.
    """
    from .addendum_command import Declared, approve_run

    approve_run(Declared(run, by, records), paper.words(), own_pages)


@with_option_groups
def amend(
    *,
    run: RunArgument,
    reason: Reason,
    paper: PaperOptions,
    correct: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KEY=TEXT",
            help="Repeatable: the unit's maker, model, serial or department as it should be.",
        ),
    ] = None,
    by: By = None,
    records: RecordsPlace = None,
) -> None:
    """Issue the certificate anew with another number, which names the one that it replaces."""
    from .addendum_command import Declared, amend_run, corrections

    words = replace(paper.words(), corrections=corrections(correct or []))
    amend_run(Declared(run, by, records), reason, words)


def void(
    *,
    run: RunArgument,
    reason: Reason,
    laboratory: LaboratoryPath = None,
    by: By = None,
    records: RecordsPlace = None,
) -> None:
    """Declare a run void: nothing is deleted; papers say it and fleet figures leave it out."""
    from .addendum_command import Declared, change_validity

    change_validity(Declared(run, by, records), "voided", reason, laboratory)


def reinstate(
    *,
    run: RunArgument,
    reason: Reason,
    laboratory: LaboratoryPath = None,
    by: By = None,
    records: RecordsPlace = None,
) -> None:
    """Declare a void run valid again."""
    from .addendum_command import Declared, change_validity

    change_validity(Declared(run, by, records), "reinstated", reason, laboratory)
