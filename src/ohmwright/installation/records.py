"""Checks of hashes and signatures of records."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

from ohmwright.records.canonical_json import chain_hash, sha256_digest
from ohmwright.records.seal import Seal, SealStatement

from .check import Check, clause_checks

_LONG = b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"
# Key of RFC 8032, 7.1, test 1; the signature was computed by separate arithmetic on the
# curve, not by the library that seals, over bytes written by hand.
_KEY = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
_SIGNATURE = (
    "813ed2347cd5d6347b013d6c63ef13bc38acb44a953e39c1cd56287d2ef6820e"
    "03e1776c0952d36f658b49adbaade3381fd58a436a19d085e02899e08523440b"
)


def checks() -> Iterator[Check]:
    """Yield checks of SHA-256 by the functions of the chain, and of Ed25519 by those of a seal."""
    yield from clause_checks(
        *("FIPS 180-4", "SHA-256 examples", "from memory"),
        ("'abc', begins with", "ba7816bf8f01", 0, lambda: sha256_digest(b"abc").hex()[:12]),
        (
            "448 bits as hash and event, begins with",
            "248d6a61d206",
            0,
            lambda: chain_hash(_LONG[:32], _LONG[32:]).hex()[:12],
        ),
    )
    yield from clause_checks(
        *("RFC 8032 key, independent arithmetic", "Ed25519 seal", "reference"),
        ("seal of a run of 2 events", "holds", 0, lambda: _seal(events=2)),
        ("the same with 3 events", "refused", 0, lambda: _seal(events=3)),
    )


def _seal(events: int) -> str:
    statement = SealStatement(
        run="check",
        events=events,
        head="00" * 32,
        operator="A. Example",
        signed_at=datetime(2025, 1, 1, tzinfo=UTC),
        key=_KEY,
    )
    return "holds" if Seal(statement=statement, signature=_SIGNATURE).is_valid() else "refused"
