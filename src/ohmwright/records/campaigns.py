"""Campaigns: which units are to be worked on, and what was done about each, entry by entry.

Several benches may work on one campaign: a unit is taken in a transaction that no other bench's
taking can come between.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from shlex import quote
from typing import Literal

from sqlalchemy import Connection, func, insert, select

from ohmwright.model.errors import UsageError
from ohmwright.model.typed_command import typed_command
from ohmwright.wire.clock import RealClock

from .database import Database
from .flat_rows import sortable_time
from .name_lock import lock_name
from .tables import CAMPAIGN_LOG, CAMPAIGNS, RUNS, STORE

CampaignWork = Literal["calibrate", "verify"]
EntryWhat = Literal[
    "planned",
    "taken",
    "begun",
    "refused",
    "done",
    "again",
    "skipped",
    "deferred",
    "handed over",
    "removed",
]


@dataclass(frozen=True)
class Campaign:
    """What is to be done, and since when."""

    name: str
    at: str
    by: str
    work: CampaignWork
    simulated: bool
    after_run: int
    """Number of the newest run of this store when it was begun; 0 where it came in a file."""
    home: str
    """Id of the store where it was begun; empty where an older version began it."""


@dataclass(frozen=True)
class Worker:
    """Who does something, and at which bench."""

    by: str
    bench: str
    """Empty where it is done at none, as by a command for whatever bench they go to."""

    def has(self, held_by: Worker) -> bool:
        """Whether a unit that `held_by` has is this worker's, as it is where both are one person.

        What somebody took at no bench is theirs at any, and at no bench they have what they took at
        any.
        """
        return self.by == held_by.by and (
            self.bench == held_by.bench or "" in (self.bench, held_by.bench)
        )

    @property
    def words(self) -> str:
        """Who it is, and where."""
        return f"{self.by} at {self.bench}" if self.bench else self.by


@dataclass(frozen=True)
class CampaignEntry:
    """One thing that was done about a unit."""

    number: int
    tag: str
    at: str
    by: str
    bench: str
    what: EntryWhat
    words: str
    """Of a skip the reason, as of what is removed or to be done again; of a deferral the date and
    the reason, of a hand-over the name, of something refused what was said, of what is done the
    minutes at the bench."""
    run_id: str


@dataclass(frozen=True)
class CampaignNote:
    """What is to be put on record of a unit; `words` as in `CampaignEntry`."""

    tag: str
    what: EntryWhat
    words: str = ""
    run_id: str = ""


Choose = Callable[[Sequence[CampaignEntry]], str | None]
"""Given all entries, the tag of the unit to be taken; None for none."""
ChooseMore = Callable[[Sequence[CampaignEntry]], list[str]]
"""Given all entries, the tags of the units to be added."""


class Campaigns:
    """The campaigns of one store."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def all(self) -> list[Campaign]:
        """Every campaign, oldest first."""
        with self._database.read() as connection:
            rows = connection.execute(select(CAMPAIGNS).order_by(CAMPAIGNS.c.at))
            return [
                Campaign(r.name, r.at, r.by, r.work, bool(r.simulated), r.after_run, r.home)
                for r in rows
            ]

    def get(self, name: str) -> Campaign:
        """The campaign of this name. Raises UsageError where there is none."""
        known = {one.name: one for one in self.all()}
        if name not in known:
            there = f"There are: {', '.join(known)}." if known else "There is none yet."
            begin = f"To begin it: {typed_command(f'campaign new {quote(name)}')}"
            raise UsageError(f"There is no campaign '{name}'.", there, begin)
        return known[name]

    def new(
        self, name: str, tags: Sequence[str], by: str, work: CampaignWork, *, simulated: bool
    ) -> Campaign:
        """Begin a campaign with these units. Raises UsageError where the name is taken."""
        at = sortable_time(RealClock().wall())
        with self._database.write() as connection:
            lock_name(connection, "campaigns")
            for known in connection.execute(select(CAMPAIGNS.c.name)).scalars():
                if known.casefold() == name.casefold():
                    work_on = typed_command(f"campaign work {quote(known)}")
                    raise UsageError(
                        f"There is a campaign '{known}' already.",
                        do=f"Choose another name, or go on with it: {work_on} --bench …",
                    )
            newest = connection.execute(select(func.max(RUNS.c.number))).scalar() or 0
            home = connection.execute(select(STORE.c.id)).scalar_one()
            begun = Campaign(name, at, by, work, simulated, newest, home)
            connection.execute(insert(CAMPAIGNS), [asdict(begun) | {"simulated": int(simulated)}])
            rows = [
                _row(name, number, at, Worker(by, ""), CampaignNote(tag, "planned"))
                for number, tag in enumerate(tags, 1)
            ]
            connection.execute(insert(CAMPAIGN_LOG), rows)
        return begun

    def of_run(self, run_id: str) -> list[tuple[str, str]]:
        """Campaign and unit for which this run was begun, in each campaign that has it."""
        c = CAMPAIGN_LOG.c
        query = select(c.campaign, c.tag).distinct().where(c.run_id == run_id, c.what == "begun")
        with self._database.read() as connection:
            return [(name, tag) for name, tag in connection.execute(query)]

    def entries(self, name: str) -> list[CampaignEntry]:
        """Every entry of a campaign, oldest first, those of other computers among them."""
        with self._database.read() as connection:
            return _entries(connection, name)

    def take(self, name: str, worker: Worker, choose: Choose) -> str | None:
        """Take the unit that `choose` says, and return its tag; None where it says none.

        Nothing is added where the unit is the worker's already.
        """
        with self._database.write() as connection:
            lock_name(connection, "campaigns")
            entries = _entries(connection, name)
            tag = choose(entries)
            if tag is not None and not _is_held(entries, tag, worker):
                _add(connection, name, entries, worker, CampaignNote(tag, "taken"))
            return tag

    def plan(self, name: str, worker: Worker, choose: ChooseMore) -> list[str]:
        """Add the units that `choose` says, and return their tags."""
        with self._database.write() as connection:
            lock_name(connection, "campaigns")
            entries = _entries(connection, name)
            tags = choose(entries)
            at = _not_before(entries)
            rows = [
                _row(name, number, at, worker, CampaignNote(tag, "planned"))
                for number, tag in enumerate(tags, len(entries) + 1)
            ]
            if rows:
                connection.execute(insert(CAMPAIGN_LOG), rows)
            return tags

    def note(self, name: str, worker: Worker, note: CampaignNote) -> None:
        """Add an entry about a unit. Raises UsageError for one that is not of the campaign."""
        with self._database.write() as connection:
            lock_name(connection, "campaigns")
            entries = _entries(connection, name)
            if all(one.tag != note.tag for one in entries):
                raise UsageError(f"Asset {note.tag} is not in the campaign '{name}'.")
            _add(connection, name, entries, worker, note)


def _entries(connection: Connection, name: str) -> list[CampaignEntry]:
    c = CAMPAIGN_LOG.c
    columns = (c.number, c.tag, c.at, c.by, c.bench, c.what, c.words, c.run_id)
    query = select(*columns).where(c.campaign == name).order_by(c.at, c.number)
    return [CampaignEntry(*row) for row in connection.execute(query)]


def _is_held(entries: Sequence[CampaignEntry], tag: str, worker: Worker) -> bool:
    last = [one for one in entries if one.tag == tag][-1]
    at_bench = worker.bench in ("", last.bench)  # what was taken at none is taken there once more
    return last.what in ("taken", "begun", "refused") and last.by == worker.by and at_bench


def _add(
    connection: Connection,
    name: str,
    entries: Sequence[CampaignEntry],
    worker: Worker,
    note: CampaignNote,
) -> None:
    row = _row(name, len(entries) + 1, _not_before(entries), worker, note)
    connection.execute(insert(CAMPAIGN_LOG), [row])


def _not_before(entries: Sequence[CampaignEntry]) -> str:
    """Now, or the time of the last of these entries: a clock that is slow does no harm."""
    return max(sortable_time(RealClock().wall()), entries[-1].at)


def _row(name: str, number: int, at: str, worker: Worker, note: CampaignNote) -> dict[str, object]:
    return {"campaign": name, "number": number, "at": at} | asdict(worker) | asdict(note)
