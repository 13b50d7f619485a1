"""What the ledger of a store has signed, and how much the store holds that it does not cover."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass

from sqlalchemy import func, select

from ohmwright.model.errors import RecordError

from .addendum import Addendum
from .chain import BrokenRunError
from .database import Database
from .ledger import addendum_of_entry, seal_of_entry
from .queries import fetch_rows
from .run_lists import fetch_dictionaries
from .seal import Seal
from .tables import ASSET_CHANGES, CAMPAIGNS, LEDGER


def signatures(database: Database) -> Iterator[Seal | Addendum]:
    """Yield every seal and addendum that can be read, in the order of the ledger.

    `audit` reports those that cannot.
    """
    for row in fetch_dictionaries(database, select(LEDGER.c.document).order_by(LEDGER.c.number)):
        for read in (seal_of_entry, addendum_of_entry):
            with suppress(BrokenRunError):
                signed = read(row["document"])
                if signed is not None:
                    yield signed


@dataclass(frozen=True)
class UnhashedEntries:
    """How much a store holds beside its runs that has no hashes, so that no audit can check it."""

    units: int = 0
    campaigns: int = 0


def unhashed_entries(database: Database) -> UnhashedEntries:
    """How many units the register has, and how many campaigns there are; 0 where unreadable."""
    units = select(func.count(ASSET_CHANGES.c.tag.distinct())).scalar_subquery()
    campaigns = select(func.count(CAMPAIGNS.c.name)).scalar_subquery()
    with suppress(RecordError):
        return UnhashedEntries(*fetch_rows(database, select(units, campaigns))[0])
    return UnhashedEntries()
