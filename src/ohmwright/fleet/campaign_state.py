"""How far a campaign is: the state of each unit, what is left and how long that takes. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from statistics import median
from typing import Literal

from ohmwright.records.campaigns import CampaignEntry, Worker

UnitPhase = Literal["open", "taken", "done", "skipped"]
_NOT_ONCE_DONE = ("skipped", "handed over")
"""What no unit is whose run is finished: on another laptop that run may not have been known."""
_MINUTES_OF_UNKNOWN = 20.0
"""A unit takes so long until one was done; a guess."""


@dataclass(frozen=True)
class UnitState:
    """Where one unit of a campaign is."""

    tag: str
    phase: UnitPhase = "open"
    not_before: date | None = None
    """The day to which it was deferred."""
    reopened: bool = False
    """Whether it is to be done again, so that runs until now do not count."""
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

    def may_be_taken(self, worker: Worker, today: date) -> bool:
        """Whether this worker may take it today."""
        in_time = self.not_before is None or self.not_before <= today
        return self.phase == "open" and in_time and self.only_by in ("", worker.by)


def unit_states(
    entries: Iterable[CampaignEntry],
    verdicts: Mapping[str, str | None],
    elsewhere: Mapping[str, tuple[str, str]],
) -> dict[str, UnitState]:
    """The state of each unit, by tag, in the order in which they were planned.

    `verdicts`: of each run on record, None while it is not finished, and for one that is void; then
    its unit is to be done again. `elsewhere`: by tag, run and
    verdict of a decisive run since the campaign began that it does not know of, as one taken in
    from a laptop. A run that is finished makes its unit done, whether or not somebody could still
    say so.
    """
    states: dict[str, UnitState] = {}
    for entry in entries:
        state = states.get(entry.tag, UnitState(entry.tag))
        if entry.what not in _NOT_ONCE_DONE or not verdicts.get(state.run_id):
            state = _after(state, entry)
        states[entry.tag] = state
    return {tag: _settled(one, verdicts, elsewhere) for tag, one in states.items()}


def _after(state: UnitState, entry: CampaignEntry) -> UnitState:
    """The state after one more entry."""
    now = replace(state, words=entry.words, at=entry.at, by=entry.by)
    if state.phase == "done":  # a unit that is to be done again has no run yet
        now = replace(now, run_id="", verdict="", minutes=None)
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
        case "done":
            minutes = float(entry.words) if entry.words else None
            done = replace(now, phase="done", holder=None, minutes=minutes, words="")
            return replace(done, run_id=entry.run_id or state.run_id)
        case "skipped":
            return replace(now, phase="skipped", holder=None)
        case "deferred":
            until = date.fromisoformat(entry.words[:10])
            put_off = replace(now, phase="open", holder=None, only_by="")
            return replace(put_off, not_before=until, reopened=True)
        case "handed over":
            free = replace(now, phase="open", holder=None, not_before=None)
            return replace(free, only_by=entry.words)


def _settled(
    state: UnitState,
    verdicts: Mapping[str, str | None],
    elsewhere: Mapping[str, tuple[str, str]],
) -> UnitState:
    verdict = verdicts.get(state.run_id)
    if state.phase in ("taken", "done") and verdict:
        return replace(state, phase="done", holder=None, verdict=verdict)
    if state.phase == "done":  # its run was declared void since
        state = replace(state, phase="open", run_id="", verdict="", minutes=None)
    if state.phase in ("open", "taken") and not state.reopened and state.tag in elsewhere:
        run_id, verdict = elsewhere[state.tag]
        return replace(state, phase="done", holder=None, run_id=run_id, verdict=verdict)
    return state


def tag_to_take(
    states: Mapping[str, UnitState], in_order: Sequence[str], worker: Worker, today: date
) -> str | None:
    """The unit that a worker is to take: the one in their hands, else the first they may take."""
    held = [one.tag for one in states.values() if one.phase == "taken" and one.holder == worker]
    free = (tag for tag in in_order if tag in states and states[tag].may_be_taken(worker, today))
    return held[0] if held else next(free, None)


@dataclass(frozen=True)
class Progress:
    """What is done and what is left of a campaign."""

    done: int
    left: int
    """Open or in somebody's hands, deferred ones with them."""
    in_hand: int
    deferred: int
    skipped: int
    verdicts: Mapping[str, int]
    minutes_left: float
    """At the bench, by the median of the units of the model that were done, else of all."""
    learned_from: int
    """Units whose minutes are known."""


def progress(states: Mapping[str, UnitState], models: Mapping[str, str], today: date) -> Progress:
    """How far a campaign is. `models`: of each tag."""
    units = list(states.values())
    done = [one for one in units if one.phase == "done"]
    left = [one for one in units if one.phase in ("open", "taken")]
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
        skipped=sum(one.phase == "skipped" for one in units),
        verdicts=counts,
        minutes_left=sum(by_model.get(models.get(one.tag, ""), typical) for one in left),
        learned_from=len(known),
    )
