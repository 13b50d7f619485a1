"""Parsers of replies: text, number, error queue entry, echo, and measured readings."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, lru_cache

from .scpi import parse_error, parse_integer, parse_number

MeasuredReply = tuple[float, int | None]
"""Value and number of a measured reply."""


def text_of(reply: bytes) -> str:
    """The text of a reply without the space around it."""
    return reply.decode("latin-1").strip()


def number_of(reply: bytes) -> float:
    """The number in a reply. Raises ValueError for anything else."""
    return parse_number(reply.decode("latin-1"))


def error_of(reply: bytes) -> tuple[int, str]:
    """Number and text of an error queue entry. Raises ValueError for anything else."""
    return parse_error(reply.decode("latin-1"))


def check_echo(nonce: int, reply: bytes) -> None:
    """Raise ValueError where `reply` is not `nonce`; a sign and leading zeros are allowed."""
    if reply.strip().lstrip(b"+0") != str(nonce).encode():
        raise ValueError(f"{nonce} was to be echoed")


@cache
def reply_parser(fields: tuple[str, ...], unit: str) -> Callable[[bytes], MeasuredReply]:
    """A function that parses a reply of `fields` into its value, in `unit`, and its number.

    The value is NaN where the instrument has none; the number None where `fields` has none. The
    function raises ValueError for another unit or other fields.
    """

    place = {field: position for position, field in enumerate(fields)}
    value_at, unit_at, number_at = place["value"], place.get("unit"), place.get("number")

    @lru_cache(maxsize=1)  # a question is asked twice: mostly the same reply comes twice
    def parse(reply: bytes) -> MeasuredReply:
        parts = reply.decode("latin-1").split(",")
        if len(parts) != len(fields):
            raise ValueError(f"it should be {','.join(fields)}")
        if unit_at is not None and parts[unit_at].strip() != unit:
            raise ValueError(f"it is in {parts[unit_at]} and should be in {unit}")
        number = None if number_at is None else parse_integer(parts[number_at])
        return parse_number(parts[value_at]), number

    return parse
