"""Declarations of `record approve`, `amend`, `void` and `reinstate`."""

from dataclasses import replace
from typing import Annotated

import typer

from .option_groups import with_option_groups
from .options import By, PaperOptions, Reason, RecordsPlace, RunArgument


def add_commands(app: typer.Typer) -> None:
    """Add these commands to those of `record`."""
    for command in (approve, amend, void, reinstate):
        app.command()(command)


@with_option_groups
def approve(
    run: RunArgument, paper: PaperOptions, by: By = None, records: RecordsPlace = None
) -> None:
    """Sign with your key that the results of a run are released: the second signature.

    What its papers state of laboratory, customer and receipt becomes part of the record.
    """
    from .addendum_command import approve_run

    approve_run(run, by, records, paper.words())


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
    from .addendum_command import amend_run, corrections

    words = replace(paper.words(), corrections=corrections(correct or []))
    amend_run(run, reason, by, records, words)


def void(run: RunArgument, reason: Reason, by: By = None, records: RecordsPlace = None) -> None:
    """Declare a run void: nothing is deleted; papers say it and fleet figures leave it out."""
    from .addendum_command import change_validity

    change_validity(run, "voided", reason, by, records)


def reinstate(
    run: RunArgument, reason: Reason, by: By = None, records: RecordsPlace = None
) -> None:
    """Declare a void run valid again."""
    from .addendum_command import change_validity

    change_validity(run, "reinstated", reason, by, records)
