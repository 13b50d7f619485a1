"""The commands `worklist` and `next`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from rich.table import Table
from rich.text import Text

from ohmwright.api.campaign_words import held_words, kept_words
from ohmwright.api.campaign_work import CampaignDesk, TakenUnit
from ohmwright.api.recorded_worklist import store_worklist, today
from ohmwright.fleet.worklist import WorkUnit
from ohmwright.model.account import account_name
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.typed_command import typed_command
from ohmwright.records.campaigns import Worker
from ohmwright.records.qualified import Qualified, qualified_assets
from ohmwright.records.queries import fetch_rows, last_seen
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.text import counted, printable
from ohmwright.reports.verdict_grounds import RISK_NOTE

from .console import out, print_json
from .list_marks import mark_of, print_marks
from .open_records import open_records_for_reading
from .table_format import with_whole_words

TOLD_MARK = ", as told"
"""Behind a due date that rests on the register's word, and on no run here."""
_MOST_LINES = 20
"""Units in the table of `worklist` where nobody says how many."""
_SIMULATED_DATES = (
    "Simulated runs count by the date of their bench's own clock: one that is older by it than a "
    "unit's newest run changes nothing here."
)


@dataclass(frozen=True)
class WorklistFilter:
    """Which units; None is any."""

    model: str | None
    site: str | None
    due_by: date | None
    words: str = ""
    """Each of them is part of what the unit is called or where it stands."""

    def of(self, units: Iterable[WorkUnit]) -> list[WorkUnit]:
        """Return those that fit, in their order."""
        return [
            unit
            for unit in units
            if (self.model is None or unit.asset.model.casefold() == self.model.casefold())
            and (self.site is None or self.site.casefold() in unit.asset.site.casefold())
            and (self.due_by is None or unit.is_due(self.due_by))
            and unit.asset.has_words(self.words)
        ]


def _none() -> str:
    """Return that no unit is shown, and why a measured one may be missing."""
    enters = typed_command("asset add")
    return f"No unit of the register fits. A measured one is in it once '{enters}' has entered it."


def show_worklist(
    records: str | None,
    selected: WorklistFilter,
    limit: int | None,
    *,
    simulated: bool,
    as_json: bool,
) -> None:
    """Print the first `limit` units that are selected; None is all as JSON, and 20 as a table."""
    with open_records_for_reading(records) as store:
        units = selected.of(store_worklist(store, simulated=simulated))
        shown = units[: limit if as_json else limit or _MOST_LINES]
        marked = _marked(store, shown, simulated=simulated)
        trials = 0 if simulated else tried_alone(store, units)
    if as_json:
        print_json([unit_document(unit, marked) for unit in shown])
        return
    if not units:
        out().print(Text(_none()), soft_wrap=True)
        return
    out().print(with_whole_words(_table(shown, marked)))
    if len(shown) < len(units):
        out().print(f"{len(units) - len(shown)} more are not shown: --limit {len(units)}")
    due = sum(unit.is_due(today()) for unit in units)
    out().print(Text(f"{due} of {len(units)} units are due."))
    if trials:
        said = f"{counted(trials, 'unit')} had runs on simulated benches alone, which do not count"
        out().print(Text(f"{said}: --simulated counts them."), soft_wrap=True)
    for line in _where_risks_come_from(units, simulated=simulated):
        out().print(Text(line), soft_wrap=True)
    print_marks(marked, RISK_NOTE)
    if simulated:
        out().print(Text(_SIMULATED_DATES), soft_wrap=True)


def tried_alone(store: SqlStore, units: Iterable[WorkUnit]) -> int:
    """Count the units without a real run or word that were run on simulated benches."""
    tried = {row.asset for row in fetch_rows(store.database, last_seen()) if row.simulated}
    return sum(unit.last is None and unit.asset.tag in tried for unit in units)


def _marked(store: SqlStore, units: Sequence[WorkUnit], *, simulated: bool) -> Qualified[str]:
    """Return the tags of those units whose risk rests on values that are to be qualified."""
    known = [unit.asset.tag for unit in units if unit.rests_on_a_run]
    return qualified_assets(store.database, known, simulated=simulated)


def _where_risks_come_from(units: Iterable[WorkUnit], *, simulated: bool) -> Iterator[str]:
    of = [u for u in units if u.is_foretold or (u.last is not None and u.last.verdict == "pass")]
    by_date = sum(not unit.is_foretold for unit in of)
    if of:
        yield "Risk: the probability of being out of tolerance, now and within a year."
    if foretold := len(of) - by_date:
        yield f"That of {counted(foretold, 'unit')} is by the forecast made last."
    if by_date:
        creep = typed_command("record creep --simulated" if simulated else "record creep")
        units_by_date = counted(by_date, "unit")
        yield f"~: of {units_by_date}, by the due date alone; '{creep}' makes the forecast."


def show_next(
    records: str | None, selected: WorklistFilter, *, simulated: bool, as_json: bool
) -> None:
    """Print the unit in front of the worklist, in service: nobody finds another at its place."""
    with open_records_for_reading(records) as store:
        listed = selected.of(store_worklist(store, simulated=simulated))
        units = [unit for unit in listed if unit.asset.state == "in service"][:1]
        marked = _marked(store, units, simulated=simulated)
    before = listed.index(units[0]) if units else len(listed)
    if as_json:
        print_json(unit_document(units[0], marked) if units else None)
    else:
        none = "No unit that fits is in service." if listed else _none()
        said = unit_words(units[0], marked) if units else none
        out().print(Text(said), soft_wrap=True)
        if before:
            lists = typed_command("worklist")
            told = f"Passed over, in repair: {counted(before, 'unit')}; '{lists}' shows them."
            out().print(Text(told), soft_wrap=True)
        print_marks(marked, RISK_NOTE)
        if simulated and units:
            out().print(Text(_SIMULATED_DATES), soft_wrap=True)


def take_next(records: str | None, campaign: str, operator: str | None, *, as_json: bool) -> None:
    """Take the next unit of a campaign into the operator's hands, and print it."""
    worker = Worker(operator or account_name(), "")
    with open_records_for_reading(records) as store:
        desk = CampaignDesk(store, campaign, worker)
        taken = desk.take_next()
        kept = desk.kept_at_home()
        held = [] if taken is None else desk.held_before(taken.asset.tag)
    if as_json:
        print_json(None if taken is None else taken_document(taken))
    else:
        mine = f"In the hands of {printable(worker.by)}: "
        said = "Nothing is left for you today." if taken is None else mine + taken_words(taken)
        out().print(Text(said), soft_wrap=True)
        if taken is None and kept:
            out().print(Text(kept_words(kept)), soft_wrap=True)
        if held:
            out().print(Text(held_words(held)), soft_wrap=True)


def taken_words(taken: TakenUnit) -> str:
    """Return a unit in hand as one line."""
    said = asset_words(taken.asset)
    return f"{said}; run {taken.resumes} goes on" if taken.resumes else said


def asset_words(asset: RegisteredAsset) -> str:
    """Return what unit it is and where it stands, as one printable line."""
    where = f", {asset.site}" if asset.site else ""
    state = " (in repair)" if asset.state == "in repair" else ""
    return printable(f"{asset.tag}: {asset.maker} {asset.model}{where}{state}")


def taken_document(taken: TakenUnit) -> dict[str, object]:
    """Return a unit in hand as a JSON object."""
    return taken.asset.model_dump() | {"resumes": taken.resumes}


def unit_document(unit: WorkUnit, marked: Qualified[str]) -> dict[str, object]:
    """Return a unit of the worklist as a JSON object; `marked`: tags as `_marked` says."""
    last = unit.last
    told = {
        "due": None if unit.due is None else unit.due.isoformat(),
        "risk_now": round(unit.risk.now, 4) if unit.is_risk_known else None,
        "risk_within_year": round(unit.risk.within_year, 4) if unit.is_risk_known else None,
        "risk_is_forecast": unit.is_foretold,
        **marked.document(unit.asset.tag),
        "last_run": None if last is None else last.run_id or None,
        "last_on": None if last is None else last.on.isoformat(),
        "last_verdict": None if last is None else last.verdict,
        "last_is_told": last is not None and last.is_told,
    }
    return unit.asset.model_dump() | told


def unit_words(unit: WorkUnit, marked: Qualified[str]) -> str:
    """Return unit, due date and risk in one line; of one that has failed no risk beside that."""
    now, ahead = _risks(unit, marked)
    if unit.has_failed:
        mark = mark_of(unit.asset.tag, marked)
        return f"{asset_words(unit.asset)}; {due_words(unit)}{mark}"
    risk = now if now == ahead else f"{now}, within a year {ahead}"
    return f"{asset_words(unit.asset)}; {due_words(unit)}, risk {risk}"


def _risks(unit: WorkUnit, marked: Qualified[str]) -> tuple[str, str]:
    """Return the risk now and within a year in words; with a mark for a unit in `marked`."""
    if not unit.is_risk_known:
        return "not known", "not known"
    mark = mark_of(unit.asset.tag, marked)
    if unit.has_failed:
        return f"failed{mark}", f"failed{mark}"
    about = "" if unit.is_foretold else "~"
    now, ahead = _percent(unit.risk.now), _percent(unit.risk.within_year)
    return f"{about}{now}{mark}", f"{about}{ahead}{mark}"


def _percent(share: float) -> str:
    """Return a probability in whole percent, never rounded to 0 or 100."""
    if share >= 0.995:
        return ">99 %"
    return "<1 %" if share < 0.005 else f"{100 * share:.0f} %"


def due_words(unit: WorkUnit) -> str:
    """Return when the unit is due, or why it is due at once."""
    if unit.has_failed:
        return f"failed {unit.due}"
    if unit.is_probably_out and unit.is_risk_known:
        return "now: probably out"
    if unit.due is None:
        return "no verdict yet"
    return f"due {unit.due}{TOLD_MARK if unit.last is not None and unit.last.is_told else ''}"


def _table(units: Iterable[WorkUnit], marked: Qualified[str]) -> Table:
    names = ("Tag", "Model", "Site", "Risk now", "Within a year", "Due")
    table = Table(*names, box=None, pad_edge=False)
    for column in (*table.columns[:2], *table.columns[3:5]):
        column.no_wrap = True
    for column in table.columns[3:5]:
        column.justify = "right"
    for unit in units:
        asset = unit.asset
        cells = (asset.tag, asset.model, asset.site)
        state = "" if asset.state == "in service" else f"{asset.state}; "
        table.add_row(
            *(Text(printable(cell) if cell else "") for cell in cells),
            *_risks(unit, marked),
            Text(state + due_words(unit), style="yellow" if unit.is_due(today()) else ""),
        )
    return table
