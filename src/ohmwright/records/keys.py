"""The operator's own key, made on first use and readable by its owner alone."""

from __future__ import annotations

import os
from datetime import datetime
from functools import cached_property
from pathlib import Path
from secrets import token_hex
from typing import TYPE_CHECKING

from ohmwright.model.errors import RecordError

from .seal import Seal, Statement

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


class OperatorKey:
    """An Ed25519 key in a file of its owner (PKCS 8 in PEM, mode 0600)."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def load(self) -> None:
        """Read the key, or make it. Raises RecordError when it cannot be used."""
        _ = self._private

    @property
    def public(self) -> str:
        """The public key in hexadecimal."""
        return self._private.public_key().public_bytes_raw().hex()

    def seal(self, run: str, events: int, head: bytes, operator: str, at: datetime) -> Seal:
        """Sign that `run` ends with `head` after `events` events."""
        statement = Statement(
            run=run,
            events=events,
            head=head.hex(),
            operator=operator,
            signed_at=at,
            key=self.public,
        )
        signature = self._private.sign(statement.signed_bytes())
        return Seal(statement=statement, signature=signature.hex())

    @cached_property
    def _private(self) -> Ed25519PrivateKey:
        try:
            return _read(self.path) if self.path.exists() else _make(self.path)
        except (OSError, ValueError) as problem:
            raise RecordError(
                f"{self.path}: the operator's key cannot be used: {problem}.",
                "Without it a run cannot be signed; nothing was measured.",
                "Restore the file from a copy, or move it away so that a new key is made.",
            ) from None


def _read(path: Path) -> Ed25519PrivateKey:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    if os.name == "posix" and path.stat().st_mode & 0o077:
        raise ValueError(f"others can read it; run: chmod 600 {path}")
    key = load_pem_private_key(path.read_bytes(), password=None)
    if not isinstance(key, Ed25519PrivateKey):
        raise ValueError("it is no Ed25519 key")
    return key


def _make(path: Path) -> Ed25519PrivateKey:
    """Write a new key beside its place, then link it in: two programs never make two."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    key = Ed25519PrivateKey.generate()
    text = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
    draft = path.with_suffix(f".{token_hex(4)}")
    file = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        os.write(file, text)
        os.fsync(file)
        draft.rename(path) if os.name == "nt" else os.link(draft, path)
    except FileExistsError:
        return _read(path)
    finally:
        os.close(file)
        draft.unlink(missing_ok=True)
    return key
