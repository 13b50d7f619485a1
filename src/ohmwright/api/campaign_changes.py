"""What becomes of the units of a campaign by a person's word: left out, put off, done again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from shlex import quote

from ohmwright.model.errors import UsageError
from ohmwright.model.typed_command import typed_command
from ohmwright.records.campaigns import CampaignEntry, Campaigns, EntryWhat
from ohmwright.records.run_lists import Filter, runs
from ohmwright.records.run_number import begun_at, is_since

from .campaign_work import CampaignDesk, not_in_campaign
from .recorded_worklist import today


class CampaignChanges:
    """What the worker of one campaign may say of its units; noted under the worker's name.

    Each method raises UsageError, with nothing noted, for a unit that is not in the campaign, and
    where the reason, or the name, is blank.
    """

    def __init__(self, desk: CampaignDesk) -> None:
        self._desk = desk
        self._campaign = desk.campaign
        self._campaigns = Campaigns(desk.store.database)

    def skip(self, tag: str, why: str) -> str:
        """Leave a unit out; return what was done, in words.

        Raises UsageError for one that is done.
        """
        why = _words(why, "Why is it skipped?", "Give the reason.")
        beside = self._note(tag, "skipped", why)
        return f"{tag} skipped: {why}{beside}"

    def defer(self, tag: str, until: date, why: str) -> str:
        """Put a unit off to a day, also one that was skipped; return what was done, in words.

        Raises UsageError for a day that is not ahead, and for a unit that is done.
        """
        if until <= today():
            raise UsageError(
                f"{until} is not ahead: today is {today()} (UTC).",
                "Nothing was noted: the unit would come again at once.",
                "Give a later day.",
            )
        why = _words(why, "Why is it deferred?", "Give the reason.")
        beside = self._note(tag, "deferred", f"{until} {why}")
        return f"{tag} deferred to {until}: {why}{beside}"

    def hand_over(self, tag: str, to: str) -> str:
        """Hand a unit to another operator; return what was done, in words.

        Raises UsageError for one that is done.
        """
        to = _words(to, "To whom?", "Give the operator's name.")
        beside = self._note(tag, "handed over", to)
        return f"{tag} handed over to {to}{beside}"

    def again(self, tag: str, why: str) -> str:
        """Have a unit that is done done again; return what was done, in words.

        Its run stays on record and counts for the campaign no more. Raises UsageError for one that
        is not done.
        """
        why = _words(why, "Why is it done again?", "Give the reason.")
        state = self._desk.states().get(tag)
        if state is None or state.phase == "removed":
            raise not_in_campaign(self._campaign, tag)
        if state.phase != "done":
            raise UsageError(f"Asset {tag} is not done.", "Nothing was noted.")
        said = f"{state.verdict}, run {state.run_id}"
        for run_id in self._runs_that_may_count(tag):
            self._desk.note(tag, "again", why, run_id)
        return f"{tag} is to be done again: {why}. It was done: {said}"

    def add(self, tags: Sequence[str]) -> str:
        """Take units into the campaign, also removed ones; return what was done, in words.

        Raises UsageError where all of them are of it already.
        """

        def missing(entries: Sequence[CampaignEntry]) -> list[str]:
            states = self._desk.states_by(entries)
            return [
                t for t in dict.fromkeys(tags) if t not in states or states[t].phase == "removed"
            ]

        added = self._campaigns.plan(self._campaign.name, self._desk.worker, missing)
        if not added:
            raise UsageError(
                f"The campaign '{self._campaign.name}' has all of these units already.",
                do=f"See them: {typed_command(f'campaign report {quote(self._campaign.name)}')}",
            )
        return f"{', '.join(added)} added to {self._campaign.name}"

    def remove(self, tag: str, why: str) -> str:
        """Take a unit out of the campaign; return what was done, in words.

        What was noted of it stays. Raises UsageError for one that is done.
        """
        why = _words(why, "Why is it removed?", "Give the reason.")
        beside = self._note(tag, "removed", why)
        return f"{tag} removed: {why}{beside}"

    def close(self, why: str) -> dict[str, str]:
        """Take out of the campaign whatever is left of it; return what was done, by tag.

        What was done, skipped or noted stays, and `add` takes units in again. Raises UsageError
        where nothing is left.
        """
        left = [one.tag for one in self._desk.states().values() if one.is_left]
        if not left:
            raise UsageError(
                f"Nothing is left of the campaign '{self._campaign.name}'.", "Nothing was noted."
            )
        return {tag: self.remove(tag, why) for tag in left}

    def _runs_that_may_count(self, tag: str) -> list[str]:
        """Return every run of a unit since the campaign began that was not left out before.

        Void and unfinished ones are among them: reinstated or resumed, one would count later.
        """
        entries = [one for one in self._campaigns.entries(self._campaign.name) if one.tag == tag]
        left_out = {one.run_id for one in entries if one.what == "again"}
        on_record = runs(self._desk.store.database, Filter(asset=tag))
        known = [
            row["run_id"]
            for row in on_record
            if row["number"] > self._campaign.after_run
            and is_since(begun_at(row["run_id"], row["at"]), self._campaign.at)
        ]
        known += [one.run_id for one in entries if one.run_id]
        return [run_id for run_id in dict.fromkeys(known) if run_id not in left_out]

    def _note(self, tag: str, what: EntryWhat, words: str) -> str:
        """Note what becomes of a unit; return in words which other worker had it, if one had."""
        before = self._desk.states().get(tag)
        if before is None or before.phase == "removed":
            raise not_in_campaign(self._campaign, tag)
        if before.phase == "done":
            unit = f"{quote(self._campaign.name)} {quote(tag)}"
            raise UsageError(
                f"Asset {tag} is done already: {before.verdict}, run {before.run_id}.",
                "Nothing was noted.",
                f"To have it done again: {typed_command(f'campaign again {unit} --why REASON')}",
            )
        self._desk.note(tag, what, words)
        holder = before.holder
        if before.phase == "taken" and holder is not None and holder != self._desk.worker:
            return f". It was in the hands of {holder.words}"
        return ""


def _words(said: str, question: str, do: str) -> str:
    """Return `said` without blanks around it. Raises UsageError where it is blank."""
    words = said.strip()
    if not words:
        raise UsageError(question, "Nothing was noted.", do)
    return words
