"""Declarations of the commands `asset …`; what each runs is imported when it is called."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from .option_groups import with_option_groups
from .options import DAY_FORM, Json, NotingOptions, RecordsPlace, SearchedUnit

app = typer.Typer(rich_markup_mode=None)
Tag = Annotated[str, typer.Argument(metavar="TAG", help="As on its inventory label.")]
Why = Annotated[str, typer.Option("--why", help="The reason, kept with the change.")]
_STATES = "'in service', 'in repair' or 'withdrawn'"


@dataclass(frozen=True)
class AssetFields:
    """What the register holds of a unit beside its tag; None where an option is not given."""

    maker: Annotated[str | None, typer.Option(help="Who made it.")] = None
    model: Annotated[str | None, typer.Option(help="Its model.")] = None
    serial: Annotated[str | None, typer.Option(help="Its serial number, as on its plate.")] = None
    site: Annotated[str | None, typer.Option(help="Where it stands.")] = None
    owner: Annotated[str | None, typer.Option(help="Whose it is.")] = None
    procedure: Annotated[
        str | None,
        typer.Option(help="Its procedure file: beside the bench file, or a shipped one's name."),
    ] = None
    interval_months: Annotated[
        int | None,
        typer.Option("--interval-months", help="Months between due dates; a new unit: 12."),
    ] = None
    state: Annotated[
        str | None, typer.Option(parser=str.casefold, metavar="STATE", help=f"{_STATES}.")
    ] = None
    last_passed: Annotated[
        str | None,
        typer.Option(
            "--last-passed",
            metavar=DAY_FORM,
            help="When it last passed, where no run here says so; '' for never.",
        ),
    ] = None


@dataclass(frozen=True)
class AssetFilterOptions:
    """Options that select assets."""

    model: Annotated[str | None, typer.Option(help="Only this model.")] = None
    site: Annotated[str | None, typer.Option(help="Only sites that hold this text.")] = None
    state: Annotated[
        str | None,
        typer.Option(parser=str.casefold, metavar="STATE", help=f"Only this state: {_STATES}."),
    ] = None
    search: SearchedUnit = ""


@app.command("list")
@with_option_groups
def list_(
    selected: AssetFilterOptions, records: RecordsPlace = None, as_json: Json = False
) -> None:
    """List the units as they are now."""
    from .asset_command import list_assets

    chosen = selected.model, selected.site, selected.state, selected.search
    list_assets(records, *chosen, as_json=as_json)


@app.command()
def show(tag: Tag, records: RecordsPlace = None, as_json: Json = False) -> None:
    """Show a unit and every change of it."""
    from .asset_command import show_asset

    show_asset(records, tag, as_json=as_json)


@app.command()
@with_option_groups
def add(
    *,
    tag: Tag,
    fields: AssetFields,
    why: Why = "",
    noting: NotingOptions,
) -> None:
    """Add a unit to the register."""
    from .asset_command import ChangeRequest, add_asset

    add_asset(ChangeRequest(tag, vars(fields), why, noting))


@app.command()
@with_option_groups
def change(
    *,
    tag: Tag,
    fields: AssetFields,
    why: Why = "",
    noting: NotingOptions,
) -> None:
    """Change what the register says of a unit; what it said stays on record."""
    from .asset_command import ChangeRequest, change_asset

    change_asset(ChangeRequest(tag, vars(fields), why, noting))


@app.command()
@with_option_groups
def withdraw(tag: Tag, why: Why, noting: NotingOptions) -> None:
    """Take a unit out of service for good; its records stay."""
    from .asset_command import ChangeRequest, withdraw_asset

    withdraw_asset(ChangeRequest(tag, {}, why, noting))


@app.command("import")
@with_option_groups
def import_(
    *,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV in UTF-8 with a heading.")],
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would change; change nothing.")
    ] = False,
    why: Why = "",
    noting: NotingOptions,
) -> None:
    """Add and change units by a CSV file: all of it, or nothing where a row is wrong."""
    from .asset_transfer import ImportRequest, import_assets

    import_assets(ImportRequest(file, why, dry_run, noting))


@app.command()
def export(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A new file.")],
    records: RecordsPlace = None,
    as_json: Json = False,
) -> None:
    """Write the units as they are now as CSV, which 'import' reads again."""
    from .asset_transfer import export_assets

    export_assets(file, records, as_json=as_json)
