"""The commands `campaign new`, `list`, `status`, `report`, and those about units of a campaign."""

from __future__ import annotations

import csv
import socket
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from io import StringIO
from pathlib import Path
from shlex import quote
from typing import get_args

from rich.table import Table
from rich.text import Text

from ohmwright.api.assets import command_into_service
from ohmwright.api.campaign_changes import CampaignChanges
from ohmwright.api.campaign_words import place_words, progress_words, reason_words, who_words
from ohmwright.api.campaign_work import CampaignDesk
from ohmwright.api.output_file import refuse_ending_of_another
from ohmwright.api.recorded_worklist import store_worklist
from ohmwright.fleet.campaign_state import UnitState
from ohmwright.model.account import account_name
from ohmwright.model.errors import UsageError
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.typed_command import typed_command
from ohmwright.records.asset_register import AssetRegister
from ohmwright.records.campaigns import Campaigns, CampaignWork, Worker
from ohmwright.records.qualified import Qualified, qualified_run_ids
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.csv_file import spreadsheet_safe
from ohmwright.reports.text import counted, printable

from .console import out, print_json, print_notice
from .list_marks import mark_of, print_marks
from .open_records import open_existing_records, open_records_for_reading
from .options import NotingOptions
from .own_file import new_file
from .table_format import with_whole_words
from .worklist_command import WorklistFilter

_ROOM_FOR_COPIED = 44
"""Characters of tag and run that leave room for the rest of a table of 80."""
_NONE_MARKED: Qualified[str] = Qualified()
_NAMED = 10
"""Units without a procedure that are named when a campaign begins."""


@dataclass(frozen=True)
class NewCampaign:
    """A campaign as asked for on the command line."""

    name: str
    tags: tuple[str, ...]
    selected: WorklistFilter
    work: str
    simulated: bool
    operator: str | None


def new_campaign(records: str | None, request: NewCampaign, *, as_json: bool) -> None:
    """Begin a campaign. Raises UsageError where nothing is selected, or a name is wrong."""
    works: tuple[CampaignWork, ...] = get_args(CampaignWork)
    work = next((one for one in works if one == request.work), None)
    if work is None:
        raise UsageError(f"--work {request.work}: give one of {', '.join(works)}.")
    name = request.name
    if not name or not name.isprintable() or len(name) > 60:
        raise UsageError("A campaign needs a name of 1 to 60 printable characters.")
    with open_existing_records(records) as store:
        register = AssetRegister(store.database)
        wanted = {unit.tag for unit in _units_in_use(register, request.tags)}
        units = request.selected.of(store_worklist(store, simulated=request.simulated))
        chosen = [u.asset for u in units if not wanted or u.asset.tag in wanted]
        tags = [asset.tag for asset in chosen]
        if not tags:
            raise UsageError(
                "No unit of the register is selected.",
                do=f"See which there are: '{typed_command('worklist')}'.",
            )
        by = request.operator or account_name()
        Campaigns(store.database).new(name, tags, by, work, simulated=request.simulated)
    if as_json:
        print_json({"campaign": name, "work": work, "units": tags})
    else:
        out().print(Text(printable(f"Campaign {name}: {counted(len(tags), 'unit')} to {work}.")))
    without = [asset.tag for asset in chosen if not asset.procedure]
    if without:
        more = len(without) - _NAMED
        named = f"{', '.join(without[:_NAMED])}{f' and {more} more' if more > 0 else ''}"
        print_notice(
            f"{len(without)} of {counted(len(tags), 'unit')} cannot be run yet, since the register "
            f"has no procedure for them: {printable(named)}."
        )


def add_units(
    records: str | None, name: str, tags: Iterable[str], operator: str | None, *, as_json: bool
) -> None:
    """Take units into a campaign that is begun. Raises UsageError for one that is not known."""
    with open_existing_records(records) as store:
        desk = _desk(store, name, operator)
        units = _units_in_use(AssetRegister(store.database), tags)
        said = CampaignChanges(desk).add([unit.tag for unit in units])
    if as_json:
        print_json({"campaign": name, "units": [unit.tag for unit in units]})
    else:
        out().print(Text(printable(f"{said}.")), soft_wrap=True)


def _units_in_use(register: AssetRegister, tags: Iterable[str]) -> list[RegisteredAsset]:
    """Return the units of `tags`. Raises UsageError for one that is not known, or is withdrawn."""
    units = [register.get(tag).asset for tag in tags]
    for unit in units:
        if not unit.in_use:
            raise UsageError(
                f"Asset {unit.tag} is withdrawn.",
                "Nothing was added.",
                f"To take it back: {command_into_service(unit)}",
            )
    return units


def close_campaign(name: str, why: str, noting: NotingOptions) -> None:
    """Take whatever is left out of a campaign, and print how to take it in again."""
    with open_existing_records(noting.records) as store:
        desk = _desk(store, name, noting.operator)
        removed = CampaignChanges(desk).close(why)
        far = desk.progress()
    if noting.as_json:
        print_json({"campaign": name, "removed": list(removed)})
        return
    for said in removed.values():
        out().print(Text(printable(f"{said}.")), soft_wrap=True)
    out().print(Text(progress_words(desk.campaign, far)), soft_wrap=True)
    back = typed_command(f"campaign add {quote(name)} {' '.join(map(quote, removed))}")
    out().print(Text(printable(f"To take them in again: {back}")), soft_wrap=True)


def list_campaigns(records: str | None, *, as_json: bool) -> None:
    """Print every campaign with its progress, oldest first."""
    with open_records_for_reading(records) as store:
        campaigns = Campaigns(store.database).all()
        far = [_desk(store, one.name).progress() for one in campaigns]
    if as_json:
        print_json([asdict(one) | asdict(how) for one, how in zip(campaigns, far, strict=True)])
        return
    for one, how in zip(campaigns, far, strict=True):
        out().print(Text(progress_words(one, how)), soft_wrap=True)
    if not campaigns:
        out().print("No campaigns yet.")


def show_status(records: str | None, name: str, *, as_json: bool) -> None:
    """Print how far a campaign is, which units are open, in hand, put off or left out."""
    with open_records_for_reading(records) as store:
        desk = _desk(store, name)
        states, far = desk.states(), desk.progress()
    if as_json:
        print_json(_campaign(desk) | asdict(far))
        return
    out().print(Text(progress_words(desk.campaign, far)), soft_wrap=True)
    open_ones = [one.tag for one in states.values() if one.phase == "open" and not _apart(one)]
    if open_ones:
        out().print(Text(printable(f"Open: {', '.join(open_ones)}.")))
    apart = [one for one in states.values() if _apart(one)]
    if apart:
        out().print(with_whole_words(units_table(apart)))


def show_report(records: str | None, name: str, file: Path | None, *, as_json: bool) -> None:
    """Print one line for each unit of a campaign, and write them to a new CSV file."""
    if file is not None:
        refuse_ending_of_another(
            file, "CSV", means="Nothing was written.", do="Give it the ending .csv."
        )
    with open_records_for_reading(records) as store:
        desk = _desk(store, name)
        states, far = list(desk.states_with_minutes().values()), desk.progress()
        done = [one.run_id for one in states if one.phase == "done"]
        marked = qualified_run_ids(store.database, done)
    units = [_row(one, marked) for one in states]
    if file is not None:
        simulated = {"simulated": desk.campaign.simulated}
        with new_file(file) as written:
            written.write(_csv([row | simulated for row in units]).encode("utf-8-sig"))
    if as_json:
        print_json(_campaign(desk) | asdict(far) | {"units": units})
        return
    out().print(with_whole_words(units_table(states, marked)))
    print_marks(marked)
    out().print(Text(progress_words(desk.campaign, far)), soft_wrap=True)


@dataclass(frozen=True)
class UnitOfCampaign:
    """A unit about which something is to be noted, and by whom."""

    campaign: str
    tag: str
    noting: NotingOptions

    def print_noted(self, note: Callable[[CampaignChanges, str], str]) -> None:
        """Have something noted of the unit of this tag, and print what was done."""
        with open_existing_records(self.noting.records) as store:
            desk = _desk(store, self.campaign, self.noting.operator)
            tag = AssetRegister(store.database).get(self.tag).asset.tag
            said = note(CampaignChanges(desk), tag)
            state = desk.states()[tag]
        if self.noting.as_json:
            noted = {"phase": state.phase, "words": state.words, "only_by": state.only_by}
            print_json({"campaign": self.campaign, "tag": tag} | noted)
        else:
            out().print(Text(printable(f"{said}.")), soft_wrap=True)


def _desk(store: SqlStore, name: str, operator: str | None = None) -> CampaignDesk:
    worker = Worker(operator or account_name(), socket.gethostname())
    return CampaignDesk(store, name, worker)


def _apart(state: UnitState) -> bool:
    put_off = state.not_before is not None or state.only_by != "" or state.in_repair
    return state.phase in ("taken", "skipped", "removed", "withdrawn") or (
        state.phase == "open" and put_off
    )


def units_table(states: Sequence[UnitState], marked: Qualified[str] = _NONE_MARKED) -> Table:
    """Return a table, a line a unit; tag and run are never cut, and too long ones take more.

    `marked`: the runs whose verdict is marked.
    """
    table = Table("Tag", "State", "By", "Run", "min", "Why", box=None, pad_edge=False)
    tag = max((len(printable(one.tag)) for one in states), default=0)
    run = max((len(printable(one.run_id)) for one in states), default=0)
    for column in (table.columns[0], table.columns[3]):
        column.no_wrap, column.overflow = tag + run <= _ROOM_FOR_COPIED, "fold"
    table.columns[4].justify = "right"
    for one in states:
        minutes = "" if one.minutes is None else f"{one.minutes:.1f}"
        where = f"{place_words(one)}{mark_of(one.run_id, marked)}"
        cells = (one.tag, where, who_words(one), one.run_id, minutes, reason_words(one))
        table.add_row(*(Text(printable(cell) if cell else "") for cell in cells))
    return table


def _campaign(desk: CampaignDesk) -> dict[str, object]:
    return {"campaign": desk.campaign.name, "simulated": desk.campaign.simulated}


def _csv(rows: Sequence[Mapping[str, object]]) -> str:
    text = StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(rows[0])
    for row in rows:
        cells = ("" if cell is None else str(cell) for cell in row.values())
        writer.writerow([spreadsheet_safe(cell) if cell else "" for cell in cells])
    return text.getvalue()


def _row(state: UnitState, marked: Qualified[str]) -> dict[str, object]:
    """Return a unit as a row of a table or a JSON object; None for no value."""
    deferred, handed_over = state.not_before is not None, state.only_by != ""
    phase = "deferred" if deferred else "handed over" if handed_over else "open"
    return {
        "tag": state.tag,
        "phase": phase if state.phase == "open" else state.phase,
        "deferred_to": None if state.not_before is None else state.not_before.isoformat(),
        "handed_over_to": state.only_by or None,
        "verdict": state.verdict,
        "run_id": state.run_id,
        "minutes": state.minutes,
        "at": state.at,
        "by": state.by,
        "words": state.words,
        "in_repair": state.in_repair,
        **marked.document(state.run_id),
    }
