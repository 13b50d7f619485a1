"""How far a campaign is: the state of each unit, what is left and how long that takes. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from statistics import median
from typing import Literal

from ohmwright.records.campaigns import CampaignEntry, Worker
from ohmwright.records.last_runs import WorkDone
from ohmwright.records.run_number import is_since

UnitPhase = Literal["open", "taken", "done", "skipped", "removed", "withdrawn"]
_MINUTES_OF_UNKNOWN = 20.0
"""A unit takes so long until one was done; a guess."""


@dataclass(frozen=True)
class UnitState:
    """Where one unit of a campaign is."""

    tag: str
    phase: UnitPhase = "open"
    not_before: date | None = None
    """The day to which it was deferred."""
    only_by: str = ""
    """Who it was handed over to."""
    holder: Worker | None = None
    run_id: str = ""
    """Of the run that was begun or that is done."""
    verdict: str = ""
    words: str = ""
    minutes: float | None = None
    at: str = ""
    by: str = ""
    in_repair: bool = False
    """Whether the register has it as in repair."""

    @property
    def is_left(self) -> bool:
        """Whether it is still to be done: open, deferred or in somebody's hands."""
        return self.phase in ("open", "taken")

    def may_be_taken(self, worker: Worker, today: date, *, away: bool) -> bool:
        """Whether this worker may take it today.

        `away`: the campaign was begun in another store, where units stay that nobody was given.
        """
        in_time = self.not_before is None or self.not_before <= today
        given = self.only_by == worker.by or (self.only_by == "" and not away)
        return self.phase == "open" and in_time and given


def unit_states(
    entries: Iterable[CampaignEntry],
    verdicts: Mapping[str, str | None],
    elsewhere: Mapping[str, Sequence[WorkDone]],
) -> dict[str, UnitState]:
    """The state of each unit, by tag, in the order in which they were planned.

    `verdicts`: of each run on record, None while it is not finished, and for one that is void; then
    its unit is to be done again. `elsewhere`: by tag the decisive runs that may have done the work
    without a note here, as one taken in from a laptop, oldest first; they count where they were
    begun since the unit was planned, and it was not removed.

    A run that is finished makes its unit done, whatever was noted before or after on this computer
    or another; until it is void, or somebody says that the unit is to be done again.
    """
    of: dict[str, list[CampaignEntry]] = {}
    for entry in entries:
        of.setdefault(entry.tag, []).append(entry)
    return {tag: _unit_state(its, verdicts, elsewhere.get(tag, ())) for tag, its in of.items()}


def _unit_state(
    entries: Sequence[CampaignEntry],
    verdicts: Mapping[str, str | None],
    elsewhere: Sequence[WorkDone],
) -> UnitState:
    """The state of one unit by its entries, oldest first."""
    not_counted = {one.run_id for one in entries if one.what == "again"}
    begun = [one for one in entries if one.what == "begun" and verdicts.get(one.run_id)]
    if count := [one for one in begun if one.run_id not in not_counted]:
        return _done(count[-1], str(verdicts[count[-1].run_id]), entries)
    state = UnitState(entries[0].tag)
    for entry in entries:
        state = _after(state, entry)
    came = [run for run in elsewhere if is_since(run.begun, entries[0].at)]
    if (new := [run for run in came if run.run_id not in not_counted]) and state.phase != "removed":
        run = new[-1]
        return UnitState(
            state.tag,
            "done",
            run_id=run.run_id,
            verdict=run.verdict,
            at=run.begun,
            by=run.operator,
        )
    return state


def _done(begun: CampaignEntry, verdict: str, entries: Sequence[CampaignEntry]) -> UnitState:
    """The state of a unit whose run is finished, by whoever noted its end, else its begin."""
    ends = [one for one in entries if one.what == "done" and one.run_id == begun.run_id]
    entry = ends[-1] if ends else begun
    return UnitState(
        entry.tag,
        "done",
        run_id=entry.run_id,
        verdict=verdict,
        minutes=float(entry.words) if entry.words else None,
        at=entry.at,
        by=entry.by,
    )


def _after(state: UnitState, entry: CampaignEntry) -> UnitState:
    """The state after one more entry, of a unit without a finished run that counts."""
    now = replace(state, words=entry.words, at=entry.at, by=entry.by)
    worker = Worker(entry.by, entry.bench)
    match entry.what:
        case "planned":
            return UnitState(entry.tag, at=entry.at, by=entry.by)
        case "taken":
            return replace(now, phase="taken", holder=worker)
        case "begun":
            return replace(now, phase="taken", holder=worker, run_id=entry.run_id)
        case "refused":
            return now
        case "done":  # by a run that is void since
            return replace(now, phase="open", holder=None, words="", run_id="")
        case "again":
            return replace(now, phase="open", holder=None, not_before=None, run_id="")
        case "skipped":
            return replace(now, phase="skipped", holder=None)
        case "removed":
            return replace(now, phase="removed", holder=None)
        case "deferred":
            until = date.fromisoformat(entry.words[:10])
            return replace(now, phase="open", holder=None, not_before=until)
        case "handed over":
            free = replace(now, phase="open", holder=None, not_before=None)
            return replace(free, only_by=entry.words)


def tag_to_take(
    states: Mapping[str, UnitState],
    in_order: Sequence[str],
    worker: Worker,
    today: date,
    *,
    away: bool,
) -> str | None:
    """The unit that a worker is to take: the one in their hands, else the first they may take."""
    taken = ((one.tag, one.holder) for one in states.values() if one.phase == "taken")
    held = [tag for tag, holder in taken if holder is not None and worker.has(holder)]
    known = (states[tag] for tag in in_order if tag in states)
    free = (one.tag for one in known if one.may_be_taken(worker, today, away=away))
    return held[0] if held else next(free, None)


@dataclass(frozen=True)
class Progress:
    """What is done and what is left of a campaign."""

    done: int
    left: int
    """Open or in somebody's hands, deferred ones with them."""
    in_hand: int
    deferred: int
    handed_over: int
    """Handed over to somebody, and not in their hands yet."""
    skipped: int
    removed: int
    verdicts: Mapping[str, int]
    minutes_left: float
    """At the bench, by the median of the units of the model that were done, else of all."""
    learned_from: int
    """Units whose minutes are known."""


def progress(states: Mapping[str, UnitState], models: Mapping[str, str], today: date) -> Progress:
    """How far a campaign is. `models`: of each tag."""
    units = list(states.values())
    done = [one for one in units if one.phase == "done"]
    left = [one for one in units if one.is_left]
    known = [(models.get(o.tag, ""), o.minutes) for o in done if o.minutes is not None]
    by_model = {m: median(t for model, t in known if model == m) for m, _ in known}
    typical = median(t for _, t in known) if known else _MINUTES_OF_UNKNOWN
    counts: dict[str, int] = {}
    for one in done:
        counts[one.verdict] = counts.get(one.verdict, 0) + 1
    return Progress(
        done=len(done),
        left=len(left),
        in_hand=sum(one.phase == "taken" for one in left),
        deferred=sum(one.not_before is not None and one.not_before > today for one in left),
        handed_over=sum(one.phase == "open" and one.only_by != "" for one in left),
        skipped=sum(one.phase == "skipped" for one in units),
        removed=sum(one.phase == "removed" for one in units),
        verdicts=counts,
        minutes_left=sum(by_model.get(models.get(one.tag, ""), typical) for one in left),
        learned_from=len(known),
    )
