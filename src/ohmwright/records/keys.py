"""The operator's signing key in a file, and the list of keys that this computer has had.

That list lies apart from the key file. Without it a lost key would silently be replaced by a new
one, and nobody could tell from then on who sealed what.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from pathlib import Path
from secrets import token_hex
from typing import TYPE_CHECKING

from ohmwright.model.errors import OhmwrightError, RecordError, UsageError

from .key_file import new_key, public_hex, read_key, write_key
from .notices import Notify, no_notice
from .private_files import create_private_file, make_private_folder
from .seal import Seal, SealStatement, fingerprint, is_public_key

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


@dataclass(frozen=True)
class KeyStatus:
    """The newest key of this computer, as far as can be seen without making one."""

    public: str | None
    """In hexadecimal; None where this computer never had a key."""
    problem: OhmwrightError | None = None
    """Why it cannot sign."""


class OperatorKey:
    """An Ed25519 key in a file of its owner (PKCS 8 in PEM, mode 0600).

    `memory`: the file that lists the public keys with which this computer has signed.
    """

    def __init__(self, path: Path, memory: Path, notify: Notify = no_notice) -> None:
        self.path, self.memory, self._notify = path, memory, notify

    def load(self) -> None:
        """Read the key; where this computer never had one, make it and report its fingerprint.

        Raises RecordError when it cannot be used, was lost, or is not the key that was last in use.
        """
        _ = self._private

    def create(self, source: Path | None = None) -> str:
        """Make a key, or take that of the file `source`; return the public key in hexadecimal.

        Raises UsageError where there is a key already: moving it away is for a person.
        """
        if self._file_exists():
            raise UsageError(
                f"{self.path}: there is a key already.",
                "Whoever has it can sign as you; nothing was changed.",
                "Keep a copy, move the file away, then ask again.",
            )
        with self._file_errors_translated():
            write_key(new_key() if source is None else read_key(source), self.path)
            public = public_hex(read_key(self.path))
        self._remember(public)
        return public

    def status(self) -> KeyStatus:
        """The newest public key and, where it cannot sign, why; nothing is made or changed."""
        known = self.remembered_keys()
        try:
            if self._file_exists():
                return KeyStatus(public_hex(self._checked_key(known)))
        except OhmwrightError as problem:
            return KeyStatus(known[-1] if known else None, problem)
        return KeyStatus(known[-1], self._lost_key_error(known[-1])) if known else KeyStatus(None)

    @property
    def public(self) -> str:
        """The public key in hexadecimal."""
        return public_hex(self._private)

    def remembered_keys(self) -> tuple[str, ...]:
        """The public keys with which this computer has signed, oldest first."""
        try:
            lines = self.memory.read_text(encoding="utf-8").split("\n")
        except FileNotFoundError:
            return ()
        except (OSError, ValueError) as problem:
            raise self._unreadable_memory_error(str(problem)) from None
        if lines.pop() or not all(map(is_public_key, lines)):
            raise self._unreadable_memory_error("a line is no public key")
        return tuple(lines)

    def own_keys(self) -> frozenset[str]:
        """The public keys with which this computer signs or has signed; none is made."""
        standing = self.status()
        newest = {standing.public} if standing.public and standing.problem is None else set()
        return frozenset(newest.union(self.remembered_keys()))

    def seal(self, run: str, events: int, head: bytes, operator: str, at: datetime) -> Seal:
        """Sign that `run` ends with the hash `head` after `events` events."""
        statement = SealStatement(
            run=run,
            events=events,
            head=head.hex(),
            operator=operator,
            signed_at=at,
            key=self.public,
        )
        return Seal(statement=statement, signature=self.sign(statement.signed_bytes()))

    def sign(self, message: bytes) -> str:
        """The signature of `message` in hexadecimal (64 bytes)."""
        return self._private.sign(message).hex()

    @cached_property
    def _private(self) -> Ed25519PrivateKey:
        """The private key, made where this computer never had one. Raises RecordError."""
        known = self.remembered_keys()
        if self._file_exists():
            key = self._checked_key(known)
            if not known:  # made before keys were remembered
                self._remember(public_hex(key))
            return key
        if known:
            raise self._lost_key_error(known[-1])
        public = self.create()
        self._notify(f"Made your signing key {fingerprint(public)} in {self.path}: keep a copy.")
        return self._checked_key((public,))

    def _checked_key(self, known: tuple[str, ...]) -> Ed25519PrivateKey:
        """The key in the file. Raises RecordError unless it is the newest of the keys `known`."""
        with self._file_errors_translated():
            key = read_key(self.path)
        if known and public_hex(key) != known[-1]:
            raise RecordError(
                f"{self.path} holds key {fingerprint(public_hex(key))}; this computer signs with "
                f"{fingerprint(known[-1])}.",
                "Somebody has exchanged it. Nothing was signed.",
                "Put the right one back. To sign with this one from now on, move it away, then: "
                "ohmwright record keys new --from WHERE-YOU-MOVED-IT",
            )
        return key

    def _lost_key_error(self, public: str) -> RecordError:
        """The error for a key that is gone from its file."""
        return RecordError(
            f"{self.path}: key {fingerprint(public)}, with which this computer signs, is gone.",
            "A run sealed with another key would be another signer's. Nothing was signed.",
            "Put the file back from a copy. If there is none: ohmwright record keys new",
        )

    def _unreadable_memory_error(self, why: str) -> RecordError:
        """The error for a list of own keys that cannot be read."""
        return RecordError(
            f"{self.memory}: the memory of your keys makes no sense: {why}.",
            "Whether the key in place is the one that was used before cannot be told.",
            f"Compare its fingerprint with what it has sealed, then move {self.memory} away.",
        )

    def _remember(self, public: str) -> None:
        """Add a key to the list of own keys; one that is in it already moves to the end."""
        make_private_folder(self.memory.parent)
        lines = [*(one for one in self.remembered_keys() if one != public), public]
        draft = self.memory.with_name(f".{self.memory.name}.{token_hex(4)}")
        with (
            self._file_errors_translated(),
            os.fdopen(create_private_file(draft), "w", encoding="utf-8") as file,
        ):
            file.writelines(f"{line}\n" for line in lines)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(self.memory)

    def _file_exists(self) -> bool:
        """Whether there is a key file."""
        with self._file_errors_translated():
            return self.path.exists()

    @contextmanager
    def _file_errors_translated(self) -> Iterator[None]:
        """Raise OSError and ValueError within the block as a RecordError that names the file."""
        try:
            yield
        except (OSError, ValueError) as problem:
            raise RecordError(
                f"{self.path}: the operator's key cannot be used: {problem}.",
                "Without it a run cannot be signed; nothing was measured.",
                _what_helps(problem),
            ) from None


def _what_helps(problem: Exception) -> str:
    """What a person can do about a key file that cannot be used."""
    if isinstance(problem, OSError) and problem.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return (
            "Correct the permissions of its folder, or name another for what programs keep of a "
            "user: XDG_CONFIG_HOME (Linux), with XDG_STATE_HOME and XDG_DATA_HOME."
        )
    return (
        "Put the file back from a copy, or move it away and make a new key with: "
        "ohmwright record keys new"
    )
