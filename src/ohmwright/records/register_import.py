"""Takes in the register and the campaigns of another computer: merged by time, conflicts told.

Nothing that is here is lost: their changes of an asset become revisions after ours, their entries
of a campaign stand among ours by their time. Where both changed an asset, each field keeps the
change that one of them made; where both changed one field, the newer change of it counts and is
told. So is each unit of a campaign about which both noted something.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from sqlalchemy import Connection, func, insert, select

from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.wire.clock import RealClock

from .asset_register import AssetRegister, AssetRevision, change_row, in_use_by_identity
from .campaigns import CampaignEntry, Campaigns
from .database import Database
from .flat_rows import sortable_time
from .name_lock import lock_name
from .register_lines import CampaignInFile, Register
from .tables import ASSET_CHANGES, CAMPAIGN_LOG, CAMPAIGNS

_IDENTITY = ("maker", "model", "serial")


@dataclass(frozen=True)
class NotedOnBoth:
    """A unit of a campaign about which both computers noted something that the other lacked."""

    campaign: str
    here: CampaignEntry
    """The newest entry that was here alone."""
    there: CampaignEntry
    """The newest that came in."""


@dataclass
class RegisterImport:
    """What came in, and what a person has to look at."""

    changes: int = 0
    entries: int = 0
    told: list[str] = field(default_factory=list)
    """What both computers changed of an asset, and which change counts; twins of one serial."""
    both: list[NotedOnBoth] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    """What was not taken in."""


def import_register(database: Database, register: Register, by: str) -> RegisterImport:
    """Take in what `register` has and the store has not, all of it or, if it fails, nothing.

    `by`: who does it.
    """
    came = RegisterImport()
    ours: dict[str, list[AssetRevision]] = {}
    for one in AssetRegister(database).every_revision():
        ours.setdefault(one.asset.tag, []).append(one)
    campaigns = Campaigns(database)
    known = {one.name: CampaignInFile.of(one) for one in campaigns.all()}
    entries = {name: campaigns.entries(name) for name in known}
    with database.write() as connection:
        lock_name(connection, "assets")
        lock_name(connection, "campaigns")
        for tag, theirs in register.assets.items():
            _take_asset(connection, ours, tag, theirs, by, came)
        for name, campaign in register.campaigns.items():
            if known.get(name, campaign) != campaign:
                came.refused.append(f"Campaign {name}: another one of that name is here.")
                continue
            if name not in known:
                row = campaign.model_dump() | {"after_run": 0}
                row |= {"simulated": int(campaign.simulated)}
                connection.execute(insert(CAMPAIGNS), [row])
            _take_entries(
                connection, name, entries.get(name, []), register.entries.get(name, []), came
            )
    came.told += _twins(AssetRegister(database), register.assets)
    return came


def _twins(register: AssetRegister, tags: Collection[str]) -> Iterator[str]:
    """Yield a line for each unit in use with the serial number of another; first those known here.

    A file of assets would be refused for that; of two computers each may have added its own in
    good faith, and what either did is kept.
    """
    now = sorted((one.asset for one in register.all()), key=lambda asset: asset.tag in tags)
    for known, *others in in_use_by_identity(now).values():
        for asset in others:
            yield (
                f"Asset {asset.tag}: serial: '{asset.serial}' is also that of {known.tag}, "
                "of the same model. If both are one unit, withdraw one of them; else correct its "
                "serial number."
            )


def _take_asset(
    connection: Connection,
    register: dict[str, list[AssetRevision]],
    tag: str,
    theirs: Sequence[AssetRevision],
    by: str,
    came: RegisterImport,
) -> None:
    ours = register.get(tag, [])
    if (why := _not_one_unit(register, tag, theirs)) is not None:
        came.refused.append(why)
        return
    here = set(map(_facts, ours))
    new = [one for one in theirs if _facts(one) not in here]
    if not new:
        return
    merged = _merged(ours, theirs, came)
    rows = [replace(one, revision=len(ours) + at) for at, one in enumerate(new, 1)]
    if merged != new[-1].asset:
        at, why = sortable_time(RealClock().wall()), "changed on two computers"
        rows.append(AssetRevision(merged, len(ours) + len(new) + 1, at, by, "merged", why))
    connection.execute(insert(ASSET_CHANGES), [change_row(one) for one in rows])
    came.changes += len(new)


def _not_one_unit(
    register: dict[str, list[AssetRevision]], tag: str, theirs: Sequence[AssetRevision]
) -> str | None:
    """Why a tag names another unit here; None where it does not."""
    twins = [known for known in register if known != tag and known.casefold() == tag.casefold()]
    if twins:
        return f"Asset {tag}: {twins[0]} is here, which differs in capitals alone."
    first = {_facts(one) for one in register.get(tag, [])}
    if not first or first & set(map(_facts, theirs)):
        return None
    ours, other = register[tag][-1].asset, theirs[-1].asset
    apart = [name for name in _IDENTITY if getattr(ours, name) != getattr(other, name)]
    if not apart:
        return None
    said = ", ".join(f"{name} {getattr(ours, name)} and {getattr(other, name)}" for name in apart)
    return f"Asset {tag} is another unit there: {said}."


def _merged(
    ours: Sequence[AssetRevision], theirs: Sequence[AssetRevision], came: RegisterImport
) -> RegisteredAsset:
    """The unit after both histories."""
    here, there = set(map(_facts, ours)), set(map(_facts, theirs))
    if here <= there:
        return theirs[-1].asset
    base = next((one.asset for one in reversed(ours) if _facts(one) in there), None)
    mine = ours[-1].asset
    fields = mine.model_dump()
    for name, said in theirs[-1].asset.model_dump().items():
        before = None if base is None else getattr(base, name)
        if said in (before, fields[name]):
            continue
        if fields[name] != before:
            newer = said if _set_at(theirs, name) > _set_at(ours, name) else fields[name]
            came.told.append(
                f"Asset {mine.tag}: {name} was set to '{fields[name]}' here and to '{said}' "
                f"there; '{newer}' is newer and counts."
            )
            said = newer
        fields[name] = said
    return RegisteredAsset.model_validate(fields)


def _set_at(history: Sequence[AssetRevision], name: str) -> str:
    """When a field got the value that it has, by the last change of it."""
    value, at = getattr(history[-1].asset, name), history[-1].at
    for one in reversed(history):
        if getattr(one.asset, name) != value:
            break
        at = one.at
    return at


def _facts(one: AssetRevision) -> tuple[object, ...]:
    """What makes a change the same change in two stores."""
    return (one.at, one.by, one.what, one.why, *one.asset.model_dump().values())


def _take_entries(
    connection: Connection,
    name: str,
    ours: Sequence[CampaignEntry],
    theirs: Iterable[CampaignEntry],
    came: RegisterImport,
) -> None:
    here = {replace(one, number=0) for one in ours}
    numbers = {replace(one, number=0): one.number for one in theirs}
    there = set(numbers)
    new = sorted(there - here, key=lambda one: (one.at, one.what != "planned", numbers[one]))
    number = connection.execute(
        select(func.max(CAMPAIGN_LOG.c.number)).where(CAMPAIGN_LOG.c.campaign == name)
    ).scalar()
    rows = [
        vars(one) | {"campaign": name, "number": at}
        for at, one in enumerate(new, (number or 0) + 1)
    ]
    if rows:
        connection.execute(insert(CAMPAIGN_LOG), rows)
    came.entries += len(rows)
    mine = {one.tag: one for one in sorted(here - there, key=lambda one: one.at)}
    for tag, their in {one.tag: one for one in new}.items():
        if tag in mine and not _is_same_work(mine[tag], their):
            came.both.append(NotedOnBoth(name, mine[tag], their))


def _is_same_work(one: CampaignEntry, other: CampaignEntry) -> bool:
    """Whether both say that the same run made the unit done, or the same words."""
    return (one.what, one.words, one.run_id) == (other.what, other.words, other.run_id)
