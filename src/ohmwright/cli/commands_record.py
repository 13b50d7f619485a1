"""Declarations of the commands `record …`; each imports what it runs when it is called."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from .commands_addenda import add_commands as add_addendum_commands
from .commands_care import add_commands as add_care_commands
from .commands_keys import app as keys_app
from .option_groups import with_option_groups
from .options import (
    DAY_FORM,
    INSTANT_FORM,
    FleetOptions,
    Json,
    RecordsPlace,
    RunArgument,
    RunFilterOptions,
    Runs,
    Trusted,
    day,
    instant,
)

app = typer.Typer(rich_markup_mode=None)
app.add_typer(keys_app, name="keys")


@app.command("list")
@with_option_groups
def list_(
    selected: RunFilterOptions,
    newest: Annotated[
        int | None,
        typer.Option(min=1, help="Only so many of the last; default: 100 in the table."),
    ] = None,
    records: RecordsPlace = None,
    as_json: Json = False,
) -> None:
    """List the runs on record, oldest first."""
    from .record_command import list_runs, run_filter

    list_runs(records, run_filter(selected), newest, as_json=as_json)


@app.command()
def show(
    run: RunArgument = "last",
    records: RecordsPlace = None,
    budgets: Annotated[
        bool, typer.Option("--budgets", help="Also every line of every uncertainty budget.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Show one run as a table; ends with the run's own exit code."""
    from .record_command import show_run

    raise typer.Exit(show_run(run, records, as_json=as_json, budgets=budgets))


@app.command()
def verify(
    run: Runs = None,
    head: Annotated[
        list[str] | None,
        typer.Option(metavar="HASH", help="The hash on a certificate: must be on record."),
    ] = None,
    paper: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="A certificate: must be as it was issued, and in force."),
    ] = None,
    without_values: Annotated[
        bool,
        typer.Option(
            "--without-values", help="Do not compute values once more from their readings."
        ),
    ] = False,
    records: RecordsPlace = None,
    trusted: Trusted = None,
    as_json: Json = False,
) -> None:
    """Check every hash, link and signature; name the first event that is wrong.

    Ends with 0 only where all of it holds and each seal is by a trusted key; with 4 where
    something is not known to be good, as a seal by a key that nobody here trusts or a paper that is
    no longer in force; with 6 where records or a paper were altered, damaged or lost. Warnings do
    not change the code.
    """
    from .verify_command import Shown, verify_records

    shown = Shown(head or [], paper or [])
    values = not without_values
    code = verify_records(run or [], shown, records, trusted, as_json=as_json, values=values)
    raise typer.Exit(code)


@app.command()
def fleet(
    not_since: Annotated[
        datetime | None,
        typer.Option(
            parser=instant,
            metavar=INSTANT_FORM,
            help="Only units whose newest run began before this date (UTC).",
        ),
    ] = None,
    records: RecordsPlace = None,
    as_json: Json = False,
) -> None:
    """Show the newest run of each unit, and how often each point of each model passed."""
    from .fleet_command import show_fleet

    show_fleet(records, not_since, as_json=as_json)


@app.command()
def trend(
    model: Annotated[str, typer.Argument(metavar="MODEL")],
    step: Annotated[str, typer.Argument(metavar="STEP", help="As 'record fleet' shows it.")],
    point: Annotated[str, typer.Argument(metavar="POINT", help="As 'record fleet' shows it.")],
    stage: Annotated[str, typer.Option(help="as_found, adjust or as_left.")] = "as_found",
    records: RecordsPlace = None,
    as_json: Json = False,
) -> None:
    """Show month by month how a point did over every unit of a model."""
    from .fleet_command import show_trend

    show_trend(records, model, step, point, stage, as_json=as_json)


@app.command()
@with_option_groups
def creep(
    units: FleetOptions,
    at: Annotated[
        datetime | None,
        typer.Option(
            parser=day, metavar=DAY_FORM, help="The date to foretell for (UTC); default: today."
        ),
    ] = None,
    probability: Annotated[
        float,
        typer.Option(min=0.001, max=0.999, help="Show when the risk of being out reaches this."),
    ] = 0.1,
    plot: Annotated[
        Path | None, typer.Option(help="Also draw the riskiest points: .svg, .png or .pdf.")
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace the plot.")] = False,
    as_json: Json = False,
) -> None:
    """Foretell each unit: how fast it creeps, what to expect, when it leaves tolerance.

    Shows the riskiest point of each unit, every point with --asset or --json.
    """
    from .creep_command import CreepRequest, show_creep

    show_creep(units.choice(), CreepRequest(_utc(at), probability, plot, overwrite, as_json))


@app.command()
@with_option_groups
def interval(
    units: FleetOptions,
    target: Annotated[
        float,
        typer.Option(
            min=0.5, max=0.999, help="Share of units to be in tolerance at the end of an interval."
        ),
    ] = 0.95,
    shortest_months: Annotated[float, typer.Option(min=0, max=120)] = 3,
    longest_months: Annotated[float, typer.Option(min=1, max=120)] = 24,
    visit_cost: Annotated[
        float | None, typer.Option(min=0, help="Of one visit, in your currency.")
    ] = None,
    year_out_cost: Annotated[
        float | None, typer.Option(min=0, help="Of a year in use out of tolerance.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Advise how long each unit may go until its next visit, by a reliability target."""
    from .interval_command import IntervalRequest, show_intervals

    request = IntervalRequest(
        target, shortest_months, longest_months, visit_cost, year_out_cost, as_json
    )
    show_intervals(units.choice(), request)


@app.command()
def report(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A new file: .pdf, .html, .csv or .parquet.")
    ],
    since: Annotated[
        datetime | None,
        typer.Option(
            parser=day, metavar=DAY_FORM, help="From this date on (UTC); default: a year before."
        ),
    ] = None,
    until: Annotated[
        datetime | None,
        typer.Option(parser=day, metavar=DAY_FORM, help="To before this date (UTC); default: now."),
    ] = None,
    campaign: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="The runs of this campaign, instead of a span of time."),
    ] = None,
    simulated: Annotated[
        bool, typer.Option("--simulated", help="Simulated units instead of real ones.")
    ] = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace the file.")] = False,
    records: RecordsPlace = None,
) -> None:
    """Write the fleet report: what failed as found, was adjusted, recurs and is at risk."""
    from .fleet_report_command import ReportRequest, write_fleet_report

    asked = ReportRequest(file, _utc(since), _utc(until), campaign, simulated, overwrite)
    write_fleet_report(records, asked)


@app.command()
@with_option_groups
def export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new file.")],
    selected: RunFilterOptions,
    run: Runs = None,
    parquet: Annotated[
        bool, typer.Option("--parquet", help="Write flat results as Parquet instead.")
    ] = False,
    records: RecordsPlace = None,
) -> None:
    """Write runs as JSON Lines, with their hashes and signatures."""
    from .export_command import Selection, export_parquet, export_runs
    from .record_command import run_filter

    selection = Selection(tuple(run or ()), run_filter(selected))
    (export_parquet if parquet else export_runs)(file, selection, records)


@app.command()
def documents(
    run: Annotated[str, typer.Argument(metavar="RUN", help="Its number, or 'last'.")],
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where to write them.")],
    records: RecordsPlace = None,
) -> None:
    """Write the files that a run went by, as they were: procedure, bench, data, command sets."""
    from .documents_command import write_documents

    write_documents(run, folder, records)


@app.command("import")
def import_(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="JSON Lines, as exported.")],
    records: RecordsPlace = None,
    trusted: Trusted = None,
) -> None:
    """Take in exported runs once every hash and signature has been checked."""
    from .import_command import import_runs

    raise typer.Exit(import_runs(file, records, trusted))


def _utc(given: datetime | None) -> datetime | None:
    """Return a date as typed, which is in UTC."""
    return None if given is None else given.replace(tzinfo=UTC)


add_addendum_commands(app)
add_care_commands(app)
