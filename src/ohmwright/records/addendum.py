"""Signed additions to a run on record: approved, issued, amended, voided, reinstated.

Nothing of the run is changed or removed by any of them. Each names the last hash of the run and the
addendum before it, so they are a chain of their own behind the run.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Literal

from ohmwright.model.base import FrozenModel
from ohmwright.model.paper import Authority, IssuedPaper, PaperChange, PaperData

from .canonical_json import canonical_json, sha256_digest
from .paper_changes import paper_changes
from .seal import SealStatement, fingerprint, is_signed_by

AddendumKind = Literal["approved", "issued", "amended", "voided", "reinstated"]
_PURPOSE = b"ohmwright addendum 1\n"


class AddendumStatement(FrozenModel):
    """What a person signs about a run."""

    what: AddendumKind
    run: str
    head: str
    """Hash of the run's last event at that time, in hexadecimal."""
    number: int
    """1 for the first addendum of the run."""
    after: str
    """Digest of the addendum before it; empty for the first."""
    operator: str
    """Who approves, amends, voids or reinstates; nobody has checked the name."""
    signed_at: datetime
    reason: str = ""
    paper: PaperData | None = None
    """What papers state from then on beside the record; None leaves that as it is."""
    changes: tuple[PaperChange, ...] | None = None
    """What an amendment changes of `paper`; None of others, and in records that do not say."""
    authority: Authority | None = None
    """By what the operator was allowed to do so; None where nothing restricts who may."""
    issued: IssuedPaper | None = None
    """The paper that was issued, of an addendum that says so."""
    algorithm: Literal["Ed25519"] = "Ed25519"
    key: str
    """Public key in hexadecimal (32 bytes)."""

    def signed_bytes(self) -> bytes:
        """The bytes under the signature: without defaults, so that new fields break no old one."""
        return _PURPOSE + canonical_json(self.model_dump(mode="json", exclude_defaults=True))


class Addendum(FrozenModel):
    """A statement and the Ed25519 signature over it, in hexadecimal (64 bytes)."""

    statement: AddendumStatement
    signature: str

    @property
    def fingerprint(self) -> str:
        """Fingerprint of the key that signed."""
        return fingerprint(self.statement.key)

    def document(self) -> dict[str, Any]:
        """The addendum as it is stored and exported: JSON without defaults."""
        return self.model_dump(mode="json", exclude_defaults=True)

    @property
    def digest(self) -> str:
        """SHA-256 of the addendum, in hexadecimal, which the next one names."""
        return sha256_digest(canonical_json(self.document())).hex()

    def is_valid(self) -> bool:
        """Whether the signature fits the statement and the key that it names."""
        said = self.statement
        return is_signed_by(said.key, self.signature, said.signed_bytes())


def what_is_wrong(addenda: Sequence[Addendum], run: str, hashes: frozenset[str]) -> str:
    """What is wrong with the addenda of a run; empty where all hold.

    `hashes`: those of the run's events, in hexadecimal.
    """
    after, paper = "", None
    for number, one in enumerate(addenda, start=1):
        said, named = one.statement, f"its addendum {number}"
        if not one.is_valid():
            return f"the signature of {named} does not fit what was signed"
        if (said.run, said.number, said.after) != (run, number, after):
            return f"{named} is missing, of another run or out of place"
        if said.head not in hashes:
            return f"{named} speaks of a run with another end"
        if (said.what == "issued") != (said.issued is not None):
            return f"{named} issues no paper, or one beside another declaration"
        if said.what == "issued" and not _approves(addenda[: number - 1], said.key):
            return f"{named} issues what nobody had approved with its key"
        if said.what == "voided" and is_voided(addenda[: number - 1]):
            return f"{named} voids what is void"
        if said.what == "reinstated" and not is_voided(addenda[: number - 1]):
            return f"{named} reinstates what is not void"
        if said.changes not in (None, paper_changes(paper, said.paper)):
            return f"{named} states other changes than were made"
        after, paper = one.digest, said.paper or paper
    return ""


def _approves(addenda: Sequence[Addendum], key: str) -> bool:
    """Whether the last of `addenda` is an approval with the public key `key`."""
    last = addenda[-1].statement if addenda else None
    return last is not None and (last.what, last.key) == ("approved", key)


def approvals_of(addenda: Sequence[Addendum]) -> list[Addendum]:
    """The approvals of the newest issue of a certificate: those after the last amendment."""
    found: list[Addendum] = []
    for one in addenda:
        if one.statement.what == "amended":
            found = []
        elif one.statement.what == "approved":
            found.append(one)
    return found


def one_key_words(sealed: SealStatement | None, approvals: Sequence[Addendum]) -> str:
    """Who signed with one key, sealing a record or approving it; empty where each has their own."""
    names: dict[str, list[str]] = {}
    if sealed is not None:
        names[sealed.key] = [sealed.operator]
    for one in approvals:
        names.setdefault(one.statement.key, []).append(one.statement.operator)
    return " ".join(_one_key_sentence(who) for who in names.values() if len(who) > 1)


def _one_key_sentence(signed_as: Sequence[str]) -> str:
    names = list(dict.fromkeys(signed_as))
    how = f"twice as {names[0]}" if len(names) == 1 else f"as {' and as '.join(names)}"
    return f"One key signed {how}: it proves no second person."


def is_voided(addenda: Sequence[Addendum]) -> bool:
    """Whether a run is void: whether the last word on that says so."""
    words = [a.statement.what for a in addenda if a.statement.what in ("voided", "reinstated")]
    return words[-1:] == ["voided"]
