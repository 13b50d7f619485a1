"""Declarations of `campaign …`; each imports what it runs when called."""

from datetime import datetime
from pathlib import Path
from typing import Annotated

import typer

from .commands_worklist import CountsSimulated, UnitOptions
from .option_groups import with_option_groups
from .options import (
    DAY_FORM,
    AcceptExpired,
    AnalyzerLine,
    BenchPath,
    Json,
    NotingOptions,
    OperatorName,
    RecordsPlace,
    WorkOrder,
    day,
)

app = typer.Typer(rich_markup_mode=None)
CampaignName = Annotated[str, typer.Argument(metavar="CAMPAIGN", help="Its name.")]
CampaignTag = Annotated[str, typer.Argument(metavar="TAG", help="A unit of the campaign.")]
ReasonKept = Annotated[str, typer.Option("--why", help="The reason, kept with it.")]


@app.command()
@with_option_groups
def new(
    *,
    name: CampaignName,
    selected: UnitOptions,
    tag: Annotated[
        list[str] | None, typer.Option(metavar="TAG", help="This unit. Repeatable.")
    ] = None,
    work: Annotated[str, typer.Option(help="calibrate or verify.")] = "calibrate",
    simulated: CountsSimulated = False,
    noting: NotingOptions,
) -> None:
    """Begin a campaign with the units that are selected; without a selection, with all."""
    from .campaign_command import NewCampaign, new_campaign

    tags, by = tuple(tag or ()), noting.operator
    request = NewCampaign(name, tags, selected.selection(), work, simulated, by)
    new_campaign(noting.records, request, as_json=noting.as_json)


@app.command("list")
def list_(records: RecordsPlace = None, as_json: Json = False) -> None:
    """List the campaigns."""
    from .campaign_command import list_campaigns

    list_campaigns(records, as_json=as_json)


@app.command()
def status(name: CampaignName, records: RecordsPlace = None, as_json: Json = False) -> None:
    """Show what is done, what is left and how long that takes."""
    from .campaign_command import show_status

    show_status(records, name, as_json=as_json)


@app.command()
def report(
    name: CampaignName,
    csv: Annotated[Path | None, typer.Option(help="Also write it as a new CSV file.")] = None,
    records: RecordsPlace = None,
    as_json: Json = False,
) -> None:
    """Show what was done about each unit, by whom, and by which run."""
    from .campaign_command import show_report

    show_report(records, name, csv, as_json=as_json)


@app.command()
@with_option_groups
def add(
    name: CampaignName,
    tags: Annotated[list[str], typer.Argument(metavar="TAG", help="Units of the register.")],
    noting: NotingOptions,
) -> None:
    """Take units into a campaign that is begun, also such as were removed."""
    from .campaign_command import add_units

    add_units(noting.records, name, tags, noting.operator, as_json=noting.as_json)


@app.command()
@with_option_groups
def remove(name: CampaignName, tag: CampaignTag, why: ReasonKept, noting: NotingOptions) -> None:
    """Take a unit out of a campaign; what was noted of it stays."""
    from .campaign_command import UnitOfCampaign

    UnitOfCampaign(name, tag, noting).print_noted(lambda changes, tag: changes.remove(tag, why))


@app.command()
@with_option_groups
def close(name: CampaignName, why: ReasonKept, noting: NotingOptions) -> None:
    """Take all that is left out of a campaign, as of one begun by mistake."""
    from .campaign_command import close_campaign

    close_campaign(name, why, noting)


@app.command()
@with_option_groups
def skip(name: CampaignName, tag: CampaignTag, why: ReasonKept, noting: NotingOptions) -> None:
    """Leave a unit out, with a reason."""
    from .campaign_command import UnitOfCampaign

    UnitOfCampaign(name, tag, noting).print_noted(lambda changes, tag: changes.skip(tag, why))


@app.command()
@with_option_groups
def defer(
    name: CampaignName,
    tag: CampaignTag,
    until: Annotated[
        datetime, typer.Option("--until", parser=day, metavar=DAY_FORM, help="The day.")
    ],
    why: ReasonKept,
    noting: NotingOptions,
) -> None:
    """Put a unit off to a day, also one that was skipped."""
    from .campaign_command import UnitOfCampaign

    UnitOfCampaign(name, tag, noting).print_noted(
        lambda changes, tag: changes.defer(tag, until.date(), why)
    )


@app.command()
@with_option_groups
def again(name: CampaignName, tag: CampaignTag, why: ReasonKept, noting: NotingOptions) -> None:
    """Have a unit that is done done again; its run stays on record."""
    from .campaign_command import UnitOfCampaign

    UnitOfCampaign(name, tag, noting).print_noted(lambda changes, tag: changes.again(tag, why))


@app.command("hand-over")
@with_option_groups
def hand_over(
    name: CampaignName,
    tag: CampaignTag,
    to: Annotated[str, typer.Option("--to", metavar="NAME", help="The operator who takes it.")],
    noting: NotingOptions,
) -> None:
    """Hand a unit over to another operator, with a run of it that is begun."""
    from .campaign_command import UnitOfCampaign

    UnitOfCampaign(name, tag, noting).print_noted(lambda changes, tag: changes.hand_over(tag, to))


@app.command()
@with_option_groups
def work(
    *,
    name: CampaignName,
    bench: BenchPath,
    unattended: Annotated[
        bool, typer.Option("--unattended", help="Nobody answers the steps; each unit is scanned.")
    ] = False,
    work_order: WorkOrder = "",
    accept_expired: AcceptExpired = False,
    operator: OperatorName = None,
    records: RecordsPlace = None,
    line: AnalyzerLine,
) -> None:
    """Work through a campaign at a bench: scan a unit, run it, take the next."""
    from .campaign_work_command import CampaignWorkRequest, work_campaign

    request = CampaignWorkRequest(
        name,
        line.bench_choice(bench),
        operator,
        records,
        work_order,
        unattended,
        accept_expired,
    )
    raise typer.Exit(work_campaign(request))
