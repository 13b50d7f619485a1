"""What the runs of a store say about the units of a campaign, whoever noted it or not."""

from __future__ import annotations

from dataclasses import replace

from ohmwright.fleet.campaign_state import UnitState
from ohmwright.records.campaigns import Campaign
from ohmwright.records.last_runs import WorkDone, minutes_of, start_of, work_done_after
from ohmwright.records.run_number import is_since
from ohmwright.records.sql_store import SqlStore


class WorkOnRecord:
    """The runs of a store that may have done a campaign's work; what was read of each is kept."""

    def __init__(self, store: SqlStore, campaign: Campaign) -> None:
        self._store, self._campaign = store, campaign
        self._adjusted: dict[int, bool] = {}
        self._minutes: dict[str, float | None] = {}

    def decisive_runs(self) -> dict[str, list[WorkDone]]:
        """Return, by tag, the decisive runs begun since the campaign that did its work."""
        found: dict[str, list[WorkDone]] = {}
        since = self._campaign
        database = self._store.database
        for run in work_done_after(database, since.after_run, simulated=since.simulated):
            if is_since(run.begun, since.at) and self._did_the_work(run):
                found.setdefault(run.asset, []).append(run)
        return found

    def timed(self, state: UnitState) -> UnitState:
        """Return the state of a unit with the minutes that its run took, also if not noted."""
        if state.phase != "done" or state.minutes is not None:
            return state
        if state.run_id not in self._minutes:
            self._minutes[state.run_id] = minutes_of(self._store.database, state.run_id)
        return replace(state, minutes=self._minutes[state.run_id])

    def _did_the_work(self, run: WorkDone) -> bool:
        """Whether a run adjusted its unit where that is the campaign's work."""
        if self._campaign.work == "verify":
            return True
        if run.number not in self._adjusted:
            started = start_of(self._store.database, run.number)
            self._adjusted[run.number] = started is not None and "adjust" in started.stages
        return self._adjusted[run.number]
