"""Text of SCPI-1999 and IEEE 488.2: mnemonics, numbers, strings and blocks."""

from __future__ import annotations

import re
from math import inf, isinf, isnan, nan

NOT_A_NUMBER = 9.91e37
INFINITY = 9.9e37
_NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)
_INTEGER = re.compile(r"\s*[+-]?\d+\s*", re.ASCII)


def short_form(mnemonic: str) -> str:
    """The short form of a mnemonic: its first four letters, three where the fourth is a vowel.

    A mnemonic of four letters or fewer has none of its own (SCPI-1999, 6.2.1).
    """
    if len(mnemonic) <= 4:
        return mnemonic.upper()
    return mnemonic[: 3 if mnemonic[3].upper() in "AEIOU" else 4].upper()


def parse_number(text: str) -> float:
    """The value of an NR1, NR2 or NR3 number; SCPI's 9.91E37 and ±9.9E37 become NaN and ±infinity.

    Raises ValueError for anything else, also for `nan` and `inf` as words.
    """
    if _NUMBER.fullmatch(text) is None:
        raise ValueError(f"{text!r} is no number")
    return number_in(float(text))


def number_in(number: float) -> float:
    """What a number of SCPI stands for: NaN for 9.91E37, infinity from 9.9E37 on."""
    if -INFINITY < number < INFINITY:
        return number
    if number == NOT_A_NUMBER:
        return nan
    return inf if number > 0 else -inf


def parse_integer(text: str) -> int:
    """The value of an NR1 number; raises ValueError for anything else, also for `1_0` and `1.0`."""
    if _INTEGER.fullmatch(text) is None:
        raise ValueError(f"{text!r} is no whole number")
    return int(text)


def format_number(number: float) -> str:
    """`number` as NR3 with six digits."""
    if isnan(number):
        return "9.91E+37"
    if isinf(number):
        return "9.9E+37" if number > 0 else "-9.9E+37"
    return f"{number:+.5E}"


def quote(text: str) -> str:
    """A quoted string; a quote inside is doubled."""
    return '"' + text.replace('"', '""') + '"'


def unquote(text: str) -> str:
    """The text of a string in double or single quotes, or of a word without."""
    text = text.strip()
    if len(text) >= 2 and text[0] == text[-1] and text[0] in "\"'":
        return text[1:-1].replace(text[0] * 2, text[0])
    return text


def encode_block(data: bytes) -> bytes:
    """`data` as a definite-length arbitrary block: `#`, digits of the length, length, data."""
    length = str(len(data)).encode()
    return b"#" + str(len(length)).encode() + length + data


def block_length(head: bytes) -> int | None:
    """Bytes in the whole block that begins with `head`; None where `head` is too short to tell.

    Raises ValueError where `head` begins no definite-length block.
    """
    digits = head[1:2]
    if head[:1] not in b"#" or digits not in b"123456789":
        raise ValueError(f"{head[:12]!r} begins no definite-length block")
    end = 2 + int(digits or b"0")
    length = head[2:end]
    if length and not length.isdigit():
        raise ValueError(f"{head[:12]!r} begins no definite-length block")
    return end + int(length) if digits and len(head) >= end else None


def decode_block(block: bytes) -> bytes:
    """The data of a whole definite-length block; raises ValueError when it is not whole."""
    length = block_length(block)
    if length is None or length != len(block):
        raise ValueError(f"the block is {len(block)} bytes long and should be {length}")
    return block[2 + int(block[1:2]) :]
