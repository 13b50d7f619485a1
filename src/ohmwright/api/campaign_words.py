"""What stands about a campaign and its units, in words."""

from __future__ import annotations

from collections.abc import Sequence

from ohmwright.fleet.campaign_state import Progress, UnitState
from ohmwright.records.campaigns import Campaign, CampaignEntry
from ohmwright.reports.text import printable


def progress_words(campaign: Campaign, far: Progress) -> str:
    """Return how far a campaign is, as one printable line."""
    counts = ", ".join(f"{count} {verdict}" for verdict, count in sorted(far.verdicts.items()))
    done = f"{far.done} of {far.done + far.left + far.skipped} done"
    parts = ((far.in_hand, "in hand"), (far.deferred, "deferred"), (far.handed_over, "handed over"))
    of_them = ", ".join(f"{count} {what}" for count, what in parts if count)
    left = f"{far.left} left"
    said = [f"{done} ({counts})" if counts else done, f"{left} ({of_them})" if of_them else left]
    said += [f"{far.skipped} skipped"] if far.skipped else []
    said += [f"{far.removed} removed"] if far.removed else []
    hours, minutes = divmod(round(far.minutes_left), 60)
    learned = f"by the {far.learned_from} done" if far.learned_from else "a guess until one is done"
    if far.left:
        said.append(f"about {hours} h {minutes} min at the bench, {learned}")
    name = f"{campaign.name} (simulated)" if campaign.simulated else campaign.name
    return printable(f"{name}: {'; '.join(said)}.")


def place_words(state: UnitState) -> str:
    """Return where a unit is, in words."""
    return f"{_place(state)}, in repair" if state.in_repair else _place(state)


def _place(state: UnitState) -> str:
    if state.phase == "done":
        return state.verdict
    if state.phase == "taken" and state.holder is not None:
        return f"in the hands of {state.holder.words}"
    if state.phase in ("skipped", "removed"):
        return f"{state.phase} by {state.by}"
    if state.only_by:
        return f"handed over to {state.only_by}"
    if state.phase == "withdrawn":
        return "withdrawn"
    return "open" if state.not_before is None else f"deferred to {state.not_before}"


def who_words(state: UnitState) -> str:
    """Return who did what `place_words` says; empty where it names them, or nobody did anything."""
    nothing_done = state.phase == "open" and state.not_before is None and not state.only_by
    return "" if nothing_done or state.phase in ("taken", "skipped", "removed") else state.by


def reason_words(state: UnitState) -> str:
    """Return why a unit is where `place_words` says; empty where nobody gave a reason."""
    if state.phase == "open" and state.not_before is not None:
        return state.words.partition(" ")[2]
    return state.words if state.phase in ("skipped", "removed") or not state.only_by else ""


def entry_words(entry: CampaignEntry) -> str:
    """Return what was done about a unit, by whom and on which day (UTC)."""
    with_words = ("deferred", "skipped", "handed over", "again", "removed")
    said = f" ({entry.words})" if entry.what in with_words and entry.words else ""
    what: str = "to be done again" if entry.what == "again" else entry.what
    if what == "handed over" and not entry.words:  # to nobody, as when another unit was scanned
        what = "put back"
    return printable(f"{what} by {entry.by} on {entry.at[:10]}{said}")


def held_words(held: Sequence[UnitState]) -> str:
    """Return which units ahead of the one that was taken are in whose hands."""
    units = "; ".join(f"{one.tag} {place_words(one)}" for one in held)
    return printable(f"Ahead of it in the worklist: {units}.")


def kept_words(count: int) -> str:
    """Return why a laptop does not get units that are free."""
    return (
        f"{count} more are for the records in which the campaign was begun, not for these: "
        "'campaign hand-over' gives them to you, if nobody works on them there."
    )
