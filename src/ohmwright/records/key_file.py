"""An Ed25519 key in a file of its owner: PKCS 8 in PEM, mode 0600."""

from __future__ import annotations

import os
from pathlib import Path
from secrets import token_hex
from typing import TYPE_CHECKING

from .private_files import create_private_file, link_into_place, make_private_folder

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey


def public_hex(key: Ed25519PrivateKey) -> str:
    """The public part of a key in hexadecimal."""
    return key.public_key().public_bytes_raw().hex()


def new_key() -> Ed25519PrivateKey:
    """A new random Ed25519 key."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    return Ed25519PrivateKey.generate()


def read_key(path: Path) -> Ed25519PrivateKey:
    """The key in a PEM file. Raises OSError, or ValueError for one that others can read."""
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    if os.name == "posix" and path.stat().st_mode & 0o077:
        raise ValueError(f"others can read it; run: chmod 600 {path}")
    key = load_pem_private_key(path.read_bytes(), password=None)
    if not isinstance(key, Ed25519PrivateKey):
        raise ValueError("it is no Ed25519 key")
    return key


def write_key(key: Ed25519PrivateKey, path: Path) -> None:
    """Write a key beside its place, then link it in, so that two programs never make two keys."""
    from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat

    text = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    make_private_folder(path.parent)
    draft = path.with_suffix(f".{token_hex(4)}")
    file = create_private_file(draft)
    try:
        os.write(file, text)
        os.fsync(file)
    finally:
        os.close(file)
    link_into_place(draft, path)
