"""The user's list of trusted keys, and who sealed the runs on record.

A signature shows that whoever sealed a run had a key, not whose key that is: anybody can make a
new one in a second. So a seal counts as known only where a person has listed its key, or where
this computer signs with that key itself.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

from ohmwright.model.errors import RecordError, SourceError, UsageError

from .addendum import Addendum, AddendumStatement
from .audit_finding import AuditFinding
from .private_files import create_private_file, make_private_folder
from .seal import Seal, fingerprint, is_public_key
from .vouchers import VoucherStatement

_HEADER = """\
# Keys that this user trusts, and no longer trusts; the last line about a key counts.
# trust PUBLIC-KEY WHOSE
# distrust PUBLIC-KEY
"""
OWN_KEY = "this computer"
"""Whose the own key is, for want of a name."""


class TrustedKeys:
    """A text file with a line for each decision about a key.

    The keys `own` are trusted without a line.
    """

    def __init__(self, path: Path, own: Iterable[str] = ()) -> None:
        """Raises SourceError for a file that makes no sense. One that is missing is empty."""
        self.path = path
        self._names: dict[str, str] = dict.fromkeys(own, OWN_KEY)
        self._distrusted = set[str]()
        self._vouched = dict[str, VoucherStatement]()
        """By each key that is trusted by it alone."""
        for verb, key, name in _lines(path):
            if verb == "trust":
                self._note_trusted(key, name)
            else:
                self._note_distrusted(key)

    def _note_trusted(self, key: str, name: str) -> None:
        self._names[key] = name or self._names.get(key, "")
        self._distrusted.discard(key)
        self._vouched.pop(key, None)

    def _note_distrusted(self, key: str) -> None:
        self._names.pop(key, None)
        self._vouched.pop(key, None)
        self._distrusted.add(key)

    def count_vouchers(self, vouched: Iterable[VoucherStatement]) -> None:
        """Trust, too, what a key of the list vouches for; what the list distrusts stays so.

        Of several vouchers for one key the last counts.
        """
        for said in vouched:
            if said.by in self._names and said.key not in self._names.keys() | self._distrusted:
                if said.what == "trust":
                    self._vouched[said.key] = said
                else:
                    self._vouched.pop(said.key, None)

    def __contains__(self, key: str) -> bool:
        return key in self._names or key in self._vouched

    def names(self) -> dict[str, str]:
        """Each trusted public key, and whose it is said to be."""
        return self._names | {
            key: f"{said.name}, vouched for by {fingerprint(said.by)}"
            for key, said in self._vouched.items()
        }

    def owner(self, key: str) -> str:
        """Whose a key is said to be; empty where nobody has said so, or it is this computer's."""
        if key in self._vouched:
            return self._vouched[key].name
        name = self._names.get(key, "")
        return "" if name == OWN_KEY else name

    def trust(self, key: str, name: str = "") -> None:
        """Add a key to the list; `name` is whose it is, empty for the name that it has."""
        name = " ".join(name.split())
        self._add(f"trust {key} {name}".rstrip())
        self._note_trusted(key, name)

    def distrust(self, key: str) -> None:
        """Add to the list that a key is no longer trusted."""
        self._add(f"distrust {key}")
        self._note_distrusted(key)

    def _add(self, line: str) -> None:
        """Append a line to the file, which is made when it is missing. Raises RecordError."""
        try:
            make_private_folder(self.path.parent)
            begin = "" if self.path.exists() else _HEADER
            if begin:
                os.close(create_private_file(self.path))
            with self.path.open("a", encoding="utf-8") as file:
                file.write(f"{begin}{line}\n")
        except OSError as problem:
            raise RecordError(f"{self.path}: cannot be written: {problem.strerror}.") from None


def _lines(path: Path) -> Iterator[tuple[str, str, str]]:
    """Verb, key and name of each line of a list. Raises SourceError."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        return
    except (OSError, ValueError) as problem:
        raise SourceError(f"{path}: the list of trusted keys cannot be read: {problem}.") from None
    for number, line in enumerate(text.split("\n"), start=1):
        verb, key, name = [*line.split(maxsplit=2), "", "", ""][:3]
        if not verb or verb.startswith("#"):
            continue
        if verb not in ("trust", "distrust") or not is_public_key(key):
            raise SourceError(
                f"{path}:{number}: '{line[:80]}' trusts no key.",
                "Which keys are trusted cannot be told.",
                "Write: trust PUBLIC-KEY WHOSE (64 hexadecimal digits, then a name).",
            )
        yield verb, key, name.strip()


@dataclass
class Signer:
    """A key, and the runs that it has sealed, approved, amended, voided or reinstated."""

    key: str
    operators: list[str] = field(default_factory=list)
    """Names in what it has signed; nobody has checked them."""
    runs: list[str] = field(default_factory=list)
    acts: dict[str, list[str]] = field(default_factory=dict)
    """What it signed of each of these runs: "sealed", "voided" …"""

    @property
    def fingerprint(self) -> str:
        """Fingerprint of the key."""
        return fingerprint(self.key)


def signers(signatures: Iterable[Seal | Addendum], only: Collection[str] = ()) -> list[Signer]:
    """One signer for each key among `signatures`, in the order of their first signature.

    `only`: names of the runs that count; empty for all.
    """
    found: dict[str, Signer] = {}
    for said in (one.statement for one in signatures):
        if only and said.run not in only:
            continue
        signer = found.setdefault(said.key, Signer(said.key))
        what = said.what if isinstance(said, AddendumStatement) else "sealed"
        acts = signer.acts.setdefault(said.run, [])
        signed = (signer.operators, said.operator), (signer.runs, said.run), (acts, what)
        for known, new in signed:
            if new not in known:
                known.append(new)
    return list(found.values())


def resolved_key(given: str, known: Iterable[str]) -> str:
    """The public key that `given` is, or the one of `known` whose fingerprint it is.

    Raises UsageError. A fingerprint alone is never stored: it is short, for people to compare.
    """
    text = given.strip().lower()
    if is_public_key(text):
        return text
    found = {key for key in known if fingerprint(key) == text}
    if len(found) == 1:
        return found.pop()
    raise UsageError(
        f"'{given}' is no key that has sealed a run on record here.",
        "A fingerprint can only name a key that is there.",
        "Give the whole public key, which its owner sees with: ohmwright record keys list",
    )


def other_names(signer: Signer, trusted: TrustedKeys) -> list[str]:
    """The names under which a trusted key signed and that are not the one it is trusted under."""
    owner = trusted.owner(signer.key)
    return [name for name in signer.operators if owner and name != owner]


def misnamed_signers(signed: Iterable[Signer], trusted: TrustedKeys) -> Iterator[AuditFinding]:
    """A warning for each trusted key that signed under another name than it is trusted under."""
    for signer in signed:
        if names := other_names(signer, trusted):
            yield AuditFinding(
                f"key {signer.fingerprint} is trusted as {trusted.owner(signer.key)}, and signed "
                f"as {', '.join(names)}",
                kind="warning",
            )


def untrusted_signers(signed: Iterable[Signer], trusted: TrustedKeys) -> Iterator[AuditFinding]:
    """A finding for each signer whose key is not trusted, with the runs that it has signed."""
    for signer in signed:
        if signer.key not in trusted:
            count = f"{len(signer.runs)} run{'' if len(signer.runs) == 1 else 's'}"
            runs = (f"{run} ({', '.join(acts)})" for run, acts in signer.acts.items())
            yield AuditFinding(
                f"key {signer.fingerprint}, said to be of {', '.join(signer.operators)}, is not "
                f"trusted here; it signed {count}: {', '.join(runs)}",
                kind="unknown",
            )
