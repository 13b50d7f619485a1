"""Declarations of the commands `record …` that take care of a whole store, and of who has a run."""

from pathlib import Path
from typing import Annotated

import typer

from .options import Json, RecordsPlace


def add_commands(app: typer.Typer) -> None:
    """Add these commands to those of `record`."""
    app.command()(rebuild)
    app.command("hand-over")(hand_over)
    app.command("take-back")(take_back)
    app.command()(backup)
    app.command()(restore)
    app.command()(roles)
    app.command()(retention)


def rebuild(records: RecordsPlace = None) -> None:
    """Make the summaries anew that 'verify' found wrong; they hold no evidence."""
    from .fleet_command import rebuild_summaries

    rebuild_summaries(records)


def hand_over(
    run: Annotated[str, typer.Argument(metavar="RUN", help="Its number, or 'last'.")],
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new file, to be imported there.")],
    records: RecordsPlace = None,
) -> None:
    """Have a run that is not finished go on at another computer, and no more here."""
    from .export_command import hand_over_run

    hand_over_run(run, file, records)


def take_back(
    run: Annotated[str, typer.Argument(metavar="RUN", help="Its number, or 'last'.")],
    records: RecordsPlace = None,
) -> None:
    """Have a run that was handed over go on here, where what was handed over is lost."""
    from .export_command import take_back_run

    take_back_run(run, records)


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new file, NAME.sqlite.")],
    records: RecordsPlace = None,
    as_json: Json = False,
) -> None:
    """Copy all records to one file, also while benches write, and check the copy."""
    from .backup_command import backup_records

    raise typer.Exit(backup_records(file, records, as_json=as_json))


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="As 'record backup' made it.")],
    records: RecordsPlace = None,
    as_json: Json = False,
) -> None:
    """Make records of a copy at a new place (--records), and say what to do about keys."""
    from .backup_command import restore_records

    raise typer.Exit(restore_records(file, records, as_json=as_json))


def roles() -> None:
    """Print SQL for PostgreSQL: a role for benches, which may add alone, and one for reading."""
    from ohmwright.records.roles import ROLES_SQL

    typer.echo(ROLES_SQL, nl=False)


def retention(
    older_than: Annotated[
        str, typer.Option("--older-than", metavar="AGE", help="Years or days, as 10y or 400d.")
    ],
    archive: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Also write them to a new file.")
    ] = None,
    records: RecordsPlace = None,
    as_json: Json = False,
) -> None:
    """Show the runs that are older than they need be kept; nothing is deleted."""
    from .retention_command import show_retention

    show_retention(older_than, archive, records, as_json=as_json)
