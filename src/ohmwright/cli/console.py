"""Where the terminal prints."""

from __future__ import annotations

import json
from functools import cache

from rich.console import Console

CAUTION = (
    "CAUTION: HF output burns and ignites, and the analyzer's terminals carry high voltage at "
    "high frequency. Qualified staff only; the unit disconnected from any patient; maker's "
    "service manual and local codes first; electrical-safety tests before output tests."
)


@cache
def out() -> Console:
    """Results go here. rich honours NO_COLOR and the width of the terminal.

    What is printed is what is shown: names and paths may hold brackets and colons.
    """
    return Console(highlight=False, markup=False, emoji=False)


@cache
def err() -> Console:
    """Progress, questions and cautions go here."""
    return Console(stderr=True, highlight=False, markup=False, emoji=False)


def say(sentence: str) -> None:
    """Tell a person something beside the results."""
    err().print(sentence, markup=False, soft_wrap=True)


def print_json(document: object) -> None:
    """Print one machine-readable document, untouched by rich."""
    print(json.dumps(document, indent=2))  # noqa: T201 - the one place that prints plainly
