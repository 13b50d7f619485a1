"""The register of assets: each change is a new revision, and nothing is overwritten."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from shlex import quote
from typing import Any, Literal

from sqlalchemy import Connection, Row, and_, func, insert, select

from ohmwright.model.errors import UsageError
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.typed_command import typed_command
from ohmwright.wire.clock import RealClock

from .database import Database
from .flat_rows import sortable_time
from .name_lock import lock_name
from .tables import ASSET_CHANGES

ChangeKind = Literal["added", "changed", "withdrawn", "imported"]
_FIELDS = tuple(RegisteredAsset.model_fields)
_FIELD_SET = set(_FIELDS)
_TOLD = ("revision", "at", "by", "what", "why")
_QUERY = select(*(ASSET_CHANGES.c[name] for name in (*_FIELDS, *_TOLD)))


@dataclass(frozen=True)
class AssetRevision:
    """A unit as it was from one change to the next: what was done to it, when, by whom, why."""

    asset: RegisteredAsset
    revision: int
    at: str
    by: str
    what: str
    why: str


@dataclass(frozen=True)
class AssetChange:
    """A unit as it is to be from now on."""

    what: ChangeKind
    asset: RegisteredAsset
    revision: int
    """The revision that it makes: 1 for a new unit. Refused where somebody was quicker."""


def in_use_by_identity(
    assets: Iterable[RegisteredAsset],
) -> dict[tuple[str, str, str], list[RegisteredAsset]]:
    """The units in use of each maker, model and serial number, in their order."""
    found: dict[tuple[str, str, str], list[RegisteredAsset]] = {}
    for asset in assets:
        if asset.in_use:
            found.setdefault(asset.identity, []).append(asset)
    return found


def units_alike(
    assets: Iterable[RegisteredAsset],
) -> dict[tuple[str, str], list[RegisteredAsset]]:
    """The units of each model and serial number as a plate shows it, in their order.

    Whatever their maker is called and whether they are in use: one unit may have two tags.
    """
    found: dict[tuple[str, str], list[RegisteredAsset]] = {}
    for asset in assets:
        found.setdefault(plate(asset), []).append(asset)
    return found


_LEADING_ZEROS = re.compile(r"(?<!\d)0+(?=\d)")


def nearest_tags(given: str, tags: Iterable[str]) -> list[str]:
    """The tags that `given` may be meant for, likeliest first, at most three.

    Where some differ in capitals, spaces, hyphens and zeros in front of a number alone, these; else
    the ones most alike.
    """
    by_letters: dict[str, list[str]] = {}
    for tag in tags:
        by_letters.setdefault(_letters(tag), []).append(tag)
    wanted = _letters(given)
    near = [wanted] if wanted in by_letters else get_close_matches(wanted, by_letters, cutoff=0.65)
    return [tag for one in near for tag in by_letters[one]][:3]


def _letters(tag: str) -> str:
    """The letters and digits of a tag, in small letters, numbers without zeros in front."""
    return _LEADING_ZEROS.sub("", "".join(filter(str.isalnum, tag)).casefold())


def plate(asset: RegisteredAsset) -> tuple[str, str]:
    """Model and serial number, without capitals, spaces and hyphens in them."""
    return plate_of(asset.model, asset.serial)


def plate_of(model: str, serial: str) -> tuple[str, str]:
    """A model and a serial number, without capitals, spaces and hyphens in them."""
    return _folded(model), _folded(serial)


def alike_words(asset: RegisteredAsset, other: RegisteredAsset) -> str:
    """That two units may be one, as a sentence."""
    state = "" if other.in_use else ", which is withdrawn"
    return (
        f"'{asset.serial}' of {asset.tag} is also the serial number of {other.tag}, a "
        f"{other.maker} {other.model}{state}: is it one unit?"
    )


def _folded(text: str) -> str:
    return "".join(text.replace("-", " ").split()).casefold()


class AssetRegister:
    """The assets of one store."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def all(self) -> list[AssetRevision]:
        """Every unit as it is now, in the order of their tags."""
        c = ASSET_CHANGES.c
        newest = select(c.tag, func.max(c.revision).label("revision")).group_by(c.tag).subquery()
        here = and_(newest.c.tag == c.tag, newest.c.revision == c.revision)
        query = _QUERY.join(newest, here).order_by(c.tag)
        with self._database.read() as connection:
            return [_revision(row) for row in connection.execute(query).all()]

    def every_revision(self) -> list[AssetRevision]:
        """Every revision of every unit, by tag, oldest first."""
        c = ASSET_CHANGES.c
        with self._database.read() as connection:
            rows = connection.execute(_QUERY.order_by(c.tag, c.revision)).all()
        return [_revision(row) for row in rows]

    def withdrawn(self) -> frozenset[str]:
        """The tags of the units that are not used any more."""
        return frozenset(one.asset.tag for one in self.all() if not one.asset.in_use)

    def twin_of(self, asset: RegisteredAsset) -> str | None:
        """The tag of another unit in use with the maker, model and serial number of this one."""
        alike = in_use_by_identity(one.asset for one in self.all()).get(asset.identity, [])
        others = (one.tag for one in alike if one.tag != asset.tag)
        return next(others, None) if asset.in_use else None

    def alike(self, asset: RegisteredAsset) -> list[RegisteredAsset]:
        """The other units whose plate shows the same, as `units_alike` tells it."""
        of_plate = units_alike(one.asset for one in self.all()).get(plate(asset), [])
        return [one for one in of_plate if one.tag != asset.tag]

    def find(self, tag: str) -> AssetRevision | None:
        """The unit with this tag as it is now; None where the register has none."""
        history = self.history(tag)
        return history[-1] if history else None

    def get(self, tag: str) -> AssetRevision:
        """The unit with this tag as it is now. Raises UsageError where there is none.

        A tag in other capitals is that of the unit which it fits, where it is one alone.
        """
        found = self.find(tag)
        if found is None:
            everyone = self.all()
            alike = [one for one in everyone if one.asset.tag.casefold() == tag.casefold()]
            if len(alike) == 1:
                return alike[0]
            raise UsageError(
                f"There is no asset '{tag}' in {self._database.place}.",
                _nearest_words(tag, [one.asset for one in everyone]),
                f"See the assets with '{typed_command('asset list')}', or add it with "
                f"'{typed_command(f'asset add {quote(tag)}')} …'.",
            )
        return found

    def history(self, tag: str) -> list[AssetRevision]:
        """Every revision of the unit with this tag, oldest first."""
        c = ASSET_CHANGES.c
        query = _QUERY.where(c.tag == tag).order_by(c.revision)
        with self._database.read() as connection:
            return [_revision(row) for row in connection.execute(query).all()]

    def apply(self, changes: Sequence[AssetChange], *, by: str, why: str = "") -> None:
        """Put all changes on record, or none.

        Raises UsageError where a unit was changed by somebody else since it was read.
        """
        at = sortable_time(RealClock().wall())
        with self._database.write() as connection:
            lock_name(connection, "assets")
            self._refuse_stale(connection, changes)
            self._refuse_twins(connection, changes)
            if changes:
                made = [
                    AssetRevision(one.asset, one.revision, at, by, one.what, why) for one in changes
                ]
                connection.execute(insert(ASSET_CHANGES), list(map(change_row, made)))

    def _refuse_stale(self, connection: Connection, changes: Iterable[AssetChange]) -> None:
        c = ASSET_CHANGES.c
        newest = select(c.tag, func.max(c.revision)).group_by(c.tag)
        now = {tag: int(revision) for tag, revision in connection.execute(newest)}
        for one in changes:
            if now.get(one.asset.tag, 0) != one.revision - 1:
                raise UsageError(
                    f"Asset {one.asset.tag} was changed by somebody else meanwhile.",
                    "Nothing was changed: theirs would have been overwritten unseen.",
                    f"See '{typed_command(f'asset show {quote(one.asset.tag)}')}', then try again.",
                )

    def _refuse_twins(self, connection: Connection, changes: Iterable[AssetChange]) -> None:
        """Raise UsageError for a new tag that another one is but for capitals."""
        tags = connection.execute(select(ASSET_CHANGES.c.tag).distinct()).scalars()
        known = {tag.casefold(): tag for tag in tags}
        for one in changes:
            twin = known.setdefault(one.asset.tag.casefold(), one.asset.tag)
            if twin != one.asset.tag:
                raise UsageError(
                    f"Asset {one.asset.tag} differs from {twin} in capitals alone.",
                    "One of the two would be taken for the other. Nothing was changed.",
                    "Give one tag to one unit.",
                )


def change_row(one: AssetRevision) -> dict[str, object]:
    """The row of a revision in the table of changes."""
    told = {"revision": one.revision, "at": one.at, "by": one.by, "what": one.what}
    return one.asset.model_dump() | told | {"why": one.why}


def _revision(row: Row[Any]) -> AssetRevision:
    """The revision in a row of `_QUERY`; its values were checked before they were written."""
    fields = dict(zip(_FIELDS, row[: len(_FIELDS)], strict=True))
    asset = RegisteredAsset.model_construct(_FIELD_SET, **fields)
    return AssetRevision(asset, *row[len(_FIELDS) :])


def _nearest_words(tag: str, assets: Sequence[RegisteredAsset]) -> str:
    """Return which units may be meant by a tag that there is not; empty for none.

    A scanner reads the serial number as readily, which stands beside the tag.
    """
    owners = [one.tag for one in assets if one.serial.casefold() == tag.casefold()]
    if owners:
        return f"It is the serial number of {', '.join(owners)}: give the tag."
    near = nearest_tags(tag, [one.tag for one in assets])
    return f"The nearest: {', '.join(near)}." if near else ""
