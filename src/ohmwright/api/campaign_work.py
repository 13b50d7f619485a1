"""One campaign of a store, for whoever works through it: what is left, next and done."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from shlex import quote

from ohmwright.engine.run_so_far import is_refused
from ohmwright.fleet.campaign_state import (
    Progress,
    UnitState,
    progress,
    tag_to_take,
    unit_states,
)
from ohmwright.fleet.worklist import WorkUnit
from ohmwright.model.errors import UsageError
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.typed_command import typed_command
from ohmwright.records.asset_register import AssetRegister
from ohmwright.records.campaigns import (
    Campaign,
    CampaignEntry,
    CampaignNote,
    Campaigns,
    Choose,
    EntryWhat,
    Worker,
)
from ohmwright.records.last_runs import (
    is_begun,
    minutes_of,
    verdicts_of,
)
from ohmwright.records.sql_store import SqlStore

from .assets import since_state
from .recorded_worklist import store_worklist, today
from .work_on_record import WorkOnRecord


@dataclass(frozen=True)
class TakenUnit:
    """A unit that is in the hands of a worker."""

    asset: RegisteredAsset
    state: UnitState
    resumes: str | None
    """The run of it that was cut short; None where none was begun."""


class CampaignDesk:
    """One campaign, as one worker at one bench works through it."""

    def __init__(
        self,
        store: SqlStore,
        name: str,
        worker: Worker,
        *,
        models: Collection[str] | None = None,
    ) -> None:
        """`models`: which the bench can work on; None for any."""
        self.store, self.worker = store, worker
        self._models = models
        self._campaigns = Campaigns(store.database)
        self.campaign: Campaign = self._campaigns.get(name)
        self._on_record = WorkOnRecord(store, self.campaign)

    @property
    def is_away(self) -> bool:
        """Whether the campaign was begun in another store, and came here in a file.

        Only units that were handed over to somebody are worked on here then: the others may be in
        work where it was begun.
        """
        return self.campaign.home not in ("", self.store.store_id)

    def kept_at_home(self) -> int:
        """Return how many units nobody gets here, since they were not handed over."""
        if not self.is_away:
            return 0
        return sum(one.phase == "open" and not one.only_by for one in self.states().values())

    def states(self) -> dict[str, UnitState]:
        """Return the state of each unit, by tag; one that is withdrawn is not left to be done."""
        register = AssetRegister(self.store.database)
        assets = {one.asset.tag: one.asset for one in register.all()}
        return {
            tag: _as_registered(one, assets[tag], register) if one.is_left else one
            for tag, one in self.states_by(self._entries()).items()
        }

    def states_with_minutes(self) -> dict[str, UnitState]:
        """Return the same with the minutes of every run, also where nobody noted them."""
        return {tag: self._on_record.timed(one) for tag, one in self.states().items()}

    def progress(self) -> Progress:
        """Return what is done and what is left."""
        assets = AssetRegister(self.store.database).all()
        models = {one.asset.tag: one.asset.model for one in assets}
        return progress(self.states_with_minutes(), models, today())

    def in_order(self) -> list[WorkUnit]:
        """Return the worklist by which units are taken: those that the bench can work on."""
        simulated = self.campaign.simulated
        units = store_worklist(self.store, simulated=simulated)
        return [one for one in units if self._models is None or one.asset.model in self._models]

    def take_next(self) -> TakenUnit | None:
        """Take the next unit, or return the one in hand; None where nothing is left today."""
        in_order = [unit.asset.tag for unit in self.in_order()]
        tag = self._take(
            lambda entries: tag_to_take(
                self.states_by(entries), in_order, self.worker, today(), away=self.is_away
            )
        )
        return None if tag is None else self._taken(tag)

    def held_before(self, tag: str) -> list[UnitState]:
        """Return the units ahead of this one in the worklist that are in the hands of others."""
        in_order, states = [unit.asset.tag for unit in self.in_order()], self.states()
        ahead = in_order[: in_order.index(tag)] if tag in in_order else []
        known = (states[one] for one in ahead if one in states)
        return [one for one in known if one.holder is not None and not self.worker.has(one.holder)]

    def take(self, tag: str) -> TakenUnit:
        """Take this unit, and put back the one in hand.

        One in the worker's hands at another bench, as by `next`, is taken from there: it stands
        here. Raises UsageError where it is done, skipped, deferred, another's or not of the
        campaign.
        """
        states = self.states()
        if tag not in states or states[tag].phase == "removed":
            raise not_in_campaign(self.campaign, tag)
        for one in states.values():
            if one.phase == "taken" and one.holder == self.worker and one.tag != tag:
                self.note(one.tag, "handed over", one.only_by)

        def this_one(entries: Sequence[CampaignEntry]) -> str | None:
            state = self.states_by(entries)[tag]
            held_by = None if state.holder is None else state.holder.by
            mine = state.phase == "taken" and held_by == self.worker.by
            free = state.may_be_taken(self.worker, today(), away=self.is_away)
            return tag if mine or free else None

        if self._take(this_one) is None:
            raise self._not_taken(self.states()[tag])
        return self._taken(tag)

    def why_left(self) -> dict[str, str]:
        """Return, by tag, why each unit that is left is not this worker's today.

        Those that `kept_at_home` counts are not in it.
        """
        assets = {one.asset.tag: one.asset for one in AssetRegister(self.store.database).all()}
        return {
            one.tag: self._not_for_bench(assets[one.tag]) or _why_not(one, away=self.is_away)
            for one in self.states().values()
            if one.is_left and not (self.is_away and one.phase == "open" and not one.only_by)
        }

    def _not_taken(self, state: UnitState) -> UsageError:
        """Return the error for a unit that cannot be taken, with the way to have it."""
        unit = f"{quote(self.campaign.name)} {quote(state.tag)}"
        to_me = typed_command(f"campaign hand-over {unit} --to {quote(self.worker.by)}")
        do = f"To have it: {to_me}"
        if state.phase == "done":
            do = f"To have it done again: {typed_command(f'campaign again {unit} --why REASON')}"
        if state.phase == "taken":
            do = f"If nobody works on it there any more, it may be handed over. {do}"
        return UsageError(
            f"Asset {state.tag} is {_why_not(state, away=self.is_away)}.", "It was not taken.", do
        )

    def _not_for_bench(self, asset: RegisteredAsset) -> str:
        """Return why a unit is not for this bench, whoever works there; empty where it is."""
        if self._models is None or asset.model in self._models:
            return ""
        known = ", ".join(sorted(self._models))
        return f"a {asset.model}, and this bench has a generator file for {known} alone"

    def begin(self, tag: str, run_id: str) -> None:
        """Note, before its first event, which run is of this unit."""
        self.note(tag, "begun", run_id=run_id)

    def settle(self, tag: str) -> UnitState:
        """Note a unit as done where the run is finished that this worker did; return its state."""
        state = self.states()[tag]
        noted = {e.run_id for e in self._entries() if e.what == "done"}
        if state.phase == "done" and state.run_id not in noted:
            minutes = minutes_of(self.store.database, state.run_id)
            words = "" if minutes is None else f"{minutes:.2f}"
            self.note(tag, "done", words=words, run_id=state.run_id)
        return self.states()[tag]

    def note(self, tag: str, what: EntryWhat, words: str = "", run_id: str = "") -> None:
        """Note what was done about a unit; it must be of the campaign.

        Raises RecordError where the store lacks what this computer has seen of it.
        """
        self.store.refuse_to_write_on_loss()
        self._campaigns.note(
            self.campaign.name, self.worker, CampaignNote(tag, what, words, run_id)
        )

    def _take(self, pick: Choose) -> str | None:
        """Note that the unit which `pick` returns is in the worker's hands. Raises RecordError."""
        self.store.refuse_to_write_on_loss()
        return self._campaigns.take(self.campaign.name, self.worker, pick)

    def _entries(self) -> list[CampaignEntry]:
        return self._campaigns.entries(self.campaign.name)

    def _taken(self, tag: str) -> TakenUnit:
        state = self.states()[tag]
        asset = AssetRegister(self.store.database).get(tag).asset
        return TakenUnit(asset, state, self._cut_short(state.run_id))

    def _cut_short(self, run_id: str) -> str | None:
        """Return the run that was begun of a unit, where it can go on; None where it was refused.

        Before its first event, it is not on record yet.
        """
        known = run_id != "" and is_begun(self.store.database, run_id)
        return run_id if known and not is_refused(self.store.events(run_id)) else None

    def states_by(self, entries: Sequence[CampaignEntry]) -> dict[str, UnitState]:
        """Return the state of each unit by `entries` and the runs on record, withdrawn or not."""
        run_ids = list({one.run_id for one in entries if one.run_id})
        return unit_states(
            entries, verdicts_of(self.store.database, run_ids), self._on_record.decisive_runs()
        )


def _as_registered(state: UnitState, asset: RegisteredAsset, register: AssetRegister) -> UnitState:
    """Return the state of a unit that is left, with what the register says of the unit."""
    if asset.in_use:
        return replace(state, in_repair=asset.state == "in repair")
    gone = since_state(register, asset)
    said = replace(state, words=gone.why, at=gone.at, by=gone.by)  # not by whom the unit was noted
    return replace(said, phase="withdrawn", holder=None, only_by="", not_before=None)


def refuse_handed_over(store: SqlStore, run_id: str, operator: str) -> None:
    """Raise UsageError where a campaign handed the unit of this run over to somebody else."""
    for name, tag in Campaigns(store.database).of_run(run_id):
        to = CampaignDesk(store, name, Worker(operator, "")).states()[tag].only_by
        if to not in ("", operator):
            raise UsageError(
                f"Run {run_id} is for {to} to go on with: campaign {name} handed {tag} over.",
                "If both went on with it, one of the two would be refused at the merging. Nothing "
                "was switched on.",
                "To take it back: "
                + typed_command(
                    f"campaign hand-over {quote(name)} {quote(tag)} --to {quote(operator)}"
                ),
            )


def not_in_campaign(campaign: Campaign, tag: str) -> UsageError:
    """Return the error for a unit that is not of the campaign, or not any more."""
    return UsageError(
        f"Asset {tag} is not in the campaign '{campaign.name}'.",
        do=f"See its units: {typed_command(f'campaign report {quote(campaign.name)}')}",
    )


def _why_not(state: UnitState, *, away: bool) -> str:
    if state.phase == "open":
        if state.not_before:
            return f"deferred to {state.not_before}"
        if away and not state.only_by:
            return "for the records in which the campaign was begun; hand it over first"
        return f"for {state.only_by}" if state.only_by else "not free any more"
    if state.phase == "taken" and state.holder is not None:
        return f"in the hands of {state.holder.words}"
    return state.phase
