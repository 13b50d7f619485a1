"""The worklist of a store: its register of assets, its runs and the forecast made last."""

from __future__ import annotations

from datetime import date

from ohmwright.fleet.worklist import LastWork, RiskOf, WorkUnit, worklist
from ohmwright.records.asset_register import AssetRegister
from ohmwright.records.last_runs import DecisiveRun, decisive_runs
from ohmwright.records.sql_store import SqlStore
from ohmwright.wire.clock import RealClock

from .risk_curves import foretold_risks


def today() -> date:
    """Return the date at this computer, in UTC."""
    return RealClock().wall().date()


def store_worklist(store: SqlStore, *, simulated: bool) -> list[WorkUnit]:
    """Return every unit of the register that is not withdrawn, the next one in front.

    `simulated`: whether runs on simulated benches count, instead of those on real ones. The risk is
    that of the forecast made last, where it knows the unit and nothing was done since.
    """
    assets = [one.asset for one in AssetRegister(store.database).all()]
    runs = decisive_runs(store.database, simulated=simulated)
    lasts = {tag: _last(run) for tag, run in runs.items()}
    return worklist(assets, lasts, today(), _foretold_risk(store, simulated=simulated))


def _foretold_risk(store: SqlStore, *, simulated: bool) -> RiskOf:
    known = foretold_risks(store, RealClock().wall(), simulated=simulated)
    return lambda asset: known.get(asset.tag)


def _last(run: DecisiveRun) -> LastWork:
    on = date.fromisoformat(run.at[:10])
    return LastWork(on, "pass" if run.verdict == "pass" else "fail", run.run_id)
