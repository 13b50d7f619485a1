"""Events and documents as bytes, and the SHA-256 hashes over these bytes."""

from __future__ import annotations

from hashlib import sha256
from json import JSONEncoder

from ohmwright.model.event import Event

_ENCODER = JSONEncoder(
    sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
).encode


def canonical_json(document: object) -> bytes:
    """`document` as JSON in UTF-8: sorted keys, no spaces, floats in their shortest exact form."""
    return _ENCODER(document).encode()


def event_bytes(event: Event) -> bytes:
    """An event as the bytes that are stored and hashed: JSON in UTF-8 without spaces.

    Keys stand in the order of the event's model. A check hashes the stored bytes and never writes
    an event anew, so a newer model of an event cannot break an old chain.
    """
    return event.__pydantic_serializer__.to_json(event)  # model_dump_json() makes text of it


def chain_hash(previous: bytes, body: bytes) -> bytes:
    """SHA-256 (32 bytes) over the previous hash of the chain and the bytes of the next event."""
    return sha256(previous + body).digest()


def sha256_digest(body: bytes) -> bytes:
    """SHA-256 (32 bytes) of a document, which names the hash before it in its own text."""
    return sha256(body).digest()
