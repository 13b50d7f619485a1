"""What an instrument has to read of SCPI-1999 text: spellings of a header, lists, booleans."""

from __future__ import annotations

import re

from ohmwright.wire.scpi import short_form


def headers(pattern: str) -> frozenset[str]:
    """Every spelling of a header such as `SYSTem:ERRor[:NEXT]?`, in capitals.

    Nodes in brackets may be left out; each node is long or short, never in between.
    """
    query = "?" if pattern.endswith("?") else ""
    spellings = {""}
    for optional, node in re.findall(r"(\[)?:?([*A-Za-z]+)\]?", pattern):
        longer = {
            f"{head}:{name}" if head else name
            for head in spellings
            for name in (node.upper(), node.upper() if "*" in node else short_form(node))
        }
        spellings = longer | spellings if optional else longer
    return frozenset(spelling + query for spelling in spellings)


def parse_boolean(text: str) -> bool:
    """`ON`, `OFF`, `1` or `0`; raises ValueError for anything else."""
    match text.strip().upper():
        case "ON" | "1":
            return True
        case "OFF" | "0":
            return False
    raise ValueError(f"{text!r} is neither ON nor OFF")


def split(text: str, separator: str) -> list[str]:
    """Split at `separator` where it stands outside quotes."""
    if '"' not in text and "'" not in text:
        return text.split(separator)
    parts, start, within = [], 0, ""
    for place, character in enumerate(text):
        if within:
            within = "" if character == within else within
        elif character in "\"'":
            within = character
        elif character == separator:
            parts.append(text[start:place])
            start = place + 1
    return [*parts, text[start:]]
