"""Standard output and standard error as rich consoles, notices and JSON documents."""

from __future__ import annotations

import json
import os
from functools import cache

from rich.console import Console

CAUTION = (
    "CAUTION: HF output burns and ignites, and the analyzer's terminals carry high voltage at "
    "high frequency. Qualified staff only; the unit disconnected from any patient; maker's "
    "service manual and local codes first; electrical-safety tests before output tests."
)


@cache
def out() -> Console:
    """Return the console on standard output, for results.

    rich honours NO_COLOR and the width of the terminal. Its markup and emoji codes are off, since
    names and paths may contain brackets and colons.
    """
    return Console(highlight=False, markup=False, emoji=False)


@cache
def err() -> Console:
    """Return the console on standard error, for progress, requests and cautions.

    A terminal on which nothing can be drawn anew counts as none: what is to be pressed while RF is
    on would be seen by nobody there, and is asked for by requests instead.
    """
    draws = os.environ.get("TERM", "").lower() not in ("dumb", "unknown")
    forced = None if draws else False
    return Console(stderr=True, force_terminal=forced, highlight=False, markup=False, emoji=False)


def print_notice(sentence: str) -> None:
    """Print a sentence on standard error."""
    err().print(sentence, markup=False, soft_wrap=True)


def print_json(document: object) -> None:
    """Print `document` as JSON on standard output, without wrapping or colour."""
    print(json.dumps(document, indent=2))  # noqa: T201 - the one place that prints plainly
