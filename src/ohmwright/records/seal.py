"""The seal of a finished run: its last hash, signed with the operator's key."""

from __future__ import annotations

import re
from datetime import datetime
from hashlib import sha256
from typing import Literal

from ohmwright.model.base import FrozenModel

from .canonical_json import canonical_json

_KEY = re.compile("[0-9a-f]{64}")
_PURPOSE = b"ohmwright seal 1\n"  # so that no signature made for another purpose fits


class SealStatement(FrozenModel):
    """What an operator signs."""

    run: str
    events: int
    head: str
    """Hash of the last event, in hexadecimal; a certificate prints it."""
    operator: str
    signed_at: datetime
    algorithm: Literal["Ed25519"] = "Ed25519"
    key: str
    """Public key in hexadecimal (32 bytes)."""

    def signed_bytes(self) -> bytes:
        """The bytes under the signature."""
        return _PURPOSE + canonical_json(self.model_dump(mode="json"))


class Seal(FrozenModel):
    """A statement and the Ed25519 signature over it, in hexadecimal (64 bytes)."""

    statement: SealStatement
    signature: str

    @property
    def fingerprint(self) -> str:
        """Fingerprint of the key that signed."""
        return fingerprint(self.statement.key)

    def is_valid(self) -> bool:
        """Whether the signature fits the statement and the key that it names."""
        said = self.statement
        return is_signed_by(said.key, self.signature, said.signed_bytes())


def is_signed_by(key: str, signature: str, message: bytes) -> bool:
    """Whether `signature` is that of `message` by the public key `key`; both in hexadecimal."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        public = Ed25519PublicKey.from_public_bytes(bytes.fromhex(key))
        public.verify(bytes.fromhex(signature), message)
    except (InvalidSignature, ValueError):
        return False
    return True


def is_public_key(text: str) -> bool:
    """Whether `text` is a public key: 64 hexadecimal digits in lower case."""
    return _KEY.fullmatch(text) is not None


def fingerprint(key: str) -> str:
    """The first 16 hexadecimal digits of a public key's SHA-256, in groups of four.

    A text that is no public key gives `no-key`.
    """
    if not is_public_key(key):
        return "no-key"
    digits = sha256(bytes.fromhex(key)).hexdigest()[:16]
    return "-".join(digits[at : at + 4] for at in range(0, 16, 4))
