"""The register of assets and the campaigns as lines of JSON, behind the runs of an exported file.

A heading, one line for each change of an asset and each campaign with its entries, and a last line
with the SHA-256 of those between. It tells damage, and proves nothing: they are not signed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict
from hashlib import sha256
from itertools import dropwhile
from typing import Annotated

from pydantic import StringConstraints, ValidationError

from ohmwright.model.base import FrozenModel
from ohmwright.model.registered_asset import RegisteredAsset

from .asset_register import AssetRegister, AssetRevision
from .campaigns import Campaign, CampaignEntry, Campaigns, CampaignWork, EntryWhat
from .canonical_json import canonical_json
from .database import Database
from .json_lines import REGISTER_HEADING, DamagedFileError

_END = b'{"register_ends":'
_Time = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d")]


class CampaignInFile(FrozenModel):
    """A campaign without what is of its store alone."""

    name: str
    at: _Time
    by: str
    work: CampaignWork
    simulated: bool
    home: str = ""

    @staticmethod
    def of(campaign: Campaign) -> CampaignInFile:
        """Return that of a campaign of a store."""
        fields = asdict(campaign)
        del fields["after_run"]
        return CampaignInFile(**fields)


class _Change(FrozenModel):
    asset: RegisteredAsset
    revision: int
    at: _Time
    by: str
    what: str
    why: str


class _Entry(FrozenModel):
    campaign: str
    number: int
    tag: str
    at: _Time
    by: str
    bench: str
    what: EntryWhat
    words: str
    run_id: str


class _Line(FrozenModel):
    """One of the three."""

    change: _Change | None = None
    campaign: CampaignInFile | None = None
    entry: _Entry | None = None


class Register:
    """The assets with their histories, and the campaigns with their entries, oldest first."""

    def __init__(self) -> None:
        self.assets: dict[str, list[AssetRevision]] = {}
        self.campaigns: dict[str, CampaignInFile] = {}
        self.entries: dict[str, list[CampaignEntry]] = {}

    def _take(self, line: _Line) -> None:
        if (change := line.change) is not None:
            told = change.revision, change.at, change.by, change.what, change.why
            of = self.assets.setdefault(change.asset.tag, [])
            of.append(AssetRevision(change.asset, *told))
        if (campaign := line.campaign) is not None:
            self.campaigns[campaign.name] = campaign
        if (entry := line.entry) is not None:
            fields = entry.model_dump(exclude={"campaign"})
            self.entries.setdefault(entry.campaign, []).append(CampaignEntry(**fields))

    @staticmethod
    def read(lines: Iterable[bytes], name: str) -> Register:
        """Return the register in a file; an empty one where it has none.

        Raises DamagedFileError, with `name` as the file's name.
        """
        found, digest = Register(), sha256()
        numbered = dropwhile(_is_before, enumerate(lines, start=1))
        at = next(numbered, (0, b""))[0]
        for at, line in numbered:
            if line.startswith(_END):
                if line.rstrip(b"\n") == _last_line(digest.hexdigest()):
                    return found
                raise DamagedFileError(name, at, "the register above was changed")
            digest.update(line)
            try:
                found._take(_Line.model_validate_json(line))
            except ValidationError:
                raise DamagedFileError(name, at, "this line of the register is damaged") from None
        if at:
            raise DamagedFileError(name, at + 1, "the end of the register is missing")
        return found


def register_lines(database: Database) -> Iterator[bytes]:
    """Yield the lines of a store's register and campaigns, without line ends; none if empty."""
    lines = [canonical_json(line.model_dump(exclude_none=True)) for line in _lines(database)]
    if lines:
        yield REGISTER_HEADING
        yield from lines
        yield _last_line(sha256(b"".join(line + b"\n" for line in lines)).hexdigest())


def _lines(database: Database) -> Iterator[_Line]:
    for one in AssetRegister(database).every_revision():
        told = {"revision": one.revision, "at": one.at, "by": one.by}
        yield _Line(change=_Change(asset=one.asset, **told, what=one.what, why=one.why))
    campaigns = Campaigns(database)
    for campaign in campaigns.all():
        yield _Line(campaign=CampaignInFile.of(campaign))
        for entry in campaigns.entries(campaign.name):
            yield _Line(entry=_Entry(campaign=campaign.name, **vars(entry)))


def _is_before(numbered: tuple[int, bytes]) -> bool:
    return numbered[1].rstrip(b"\n") != REGISTER_HEADING


def _last_line(digest: str) -> bytes:
    return canonical_json({"register_ends": digest})
