"""One way of writing each thing as bytes, and the hashes over them."""

from __future__ import annotations

from hashlib import sha256
from json import JSONEncoder

from ohmwright.model.event import Event

_ENCODER = JSONEncoder(
    sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
).encode


def canonical_json(document: object) -> bytes:
    """JSON in UTF-8: keys sorted, no spaces, each float in its shortest exact form."""
    return _ENCODER(document).encode()


def event_bytes(event: Event) -> bytes:
    """The bytes of an event, as they are kept and hashed.

    JSON in UTF-8 without spaces, keys in the order of the event's model. Checks never write
    an event anew: they hash the bytes that were kept.
    """
    return event.__pydantic_serializer__.to_json(event)  # model_dump_json() makes text of it


def chain_hash(previous: bytes, body: bytes) -> bytes:
    """The hash of a chain after `body`: SHA-256 over the hash before it (32 bytes) and `body`."""
    return sha256(previous + body).digest()


def sha256_digest(body: bytes) -> bytes:
    """SHA-256 of a document that names the hash before it in its own text."""
    return sha256(body).digest()
