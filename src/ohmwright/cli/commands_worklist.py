"""Declarations of `worklist` and `next`; each imports what it runs when called."""

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Annotated

import typer

from .option_groups import with_option_groups
from .options import DAY_FORM, Json, OperatorName, RecordsPlace, SearchedUnit, day

if TYPE_CHECKING:
    from .worklist_command import WorklistFilter

CountsSimulated = Annotated[
    bool,
    typer.Option("--simulated", help="For trials: runs on simulated benches count, real ones not."),
]


@dataclass(frozen=True)
class UnitOptions:
    """Options that select units."""

    model: Annotated[str | None, typer.Option(help="Only this model.")] = None
    site: Annotated[str | None, typer.Option(help="Only sites that hold this text.")] = None
    due_by: Annotated[
        datetime | None,
        typer.Option(
            "--due-by", parser=day, metavar=DAY_FORM, help="Only what is due by this day."
        ),
    ] = None
    search: SearchedUnit = ""

    def selection(self) -> "WorklistFilter":
        """Return them as a selection."""
        from .worklist_command import WorklistFilter

        day = None if self.due_by is None else self.due_by.date()
        return WorklistFilter(self.model, self.site, day, self.search)


@with_option_groups
def worklist(
    selected: UnitOptions,
    limit: Annotated[
        int | None,
        typer.Option(min=1, help="Show so many units; default: 20 in a table, all as JSON."),
    ] = None,
    simulated: CountsSimulated = False,
    records: RecordsPlace = None,
    as_json: Json = False,
) -> None:
    """List the units by risk, due date and place, the next one in front."""
    from .worklist_command import show_worklist

    show_worklist(records, selected.selection(), limit, simulated=simulated, as_json=as_json)


@with_option_groups
def next_(
    selected: UnitOptions,
    campaign: Annotated[str | None, typer.Option(help="Take it from this campaign.")] = None,
    simulated: CountsSimulated = False,
    operator: OperatorName = None,
    records: RecordsPlace = None,
    as_json: Json = False,
) -> None:
    """Show the unit in service to be worked on next; of a campaign, take it into your hands."""
    from .worklist_command import show_next, take_next

    if campaign is not None:
        take_next(records, campaign, operator, as_json=as_json)
    else:
        show_next(records, selected.selection(), simulated=simulated, as_json=as_json)
