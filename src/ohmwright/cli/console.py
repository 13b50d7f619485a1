"""Where the terminal prints, and the person who sits at it."""

from __future__ import annotations

import json
import os
import sys
from contextlib import suppress
from functools import cache

import anyio
import anyio.to_thread
from rich.console import Console

from ohmwright.instruments.operator import Inspect, LookAtAlarm, Operator, Request
from ohmwright.model.account import account_name
from ohmwright.model.errors import UsageError

CAUTION = (
    "CAUTION: HF output burns and ignites, and the analyzer's terminals carry high voltage at "
    "high frequency. Qualified staff only; the unit disconnected from any patient; maker's "
    "service manual and local codes first; electrical-safety tests before output tests."
)


@cache
def out() -> Console:
    """Results go here. rich honours NO_COLOR and the width of the terminal."""
    return Console(highlight=False)


@cache
def err() -> Console:
    """Progress, questions and cautions go here."""
    return Console(stderr=True, highlight=False)


def print_json(document: object) -> None:
    """Print one machine-readable document, untouched by rich."""
    print(json.dumps(document, indent=2))  # noqa: T201 - the one place that prints plainly


class PersonAtTerminal(Operator):
    """Reads each request on the screen and answers with the keyboard."""

    def __init__(self) -> None:
        self.name = account_name()

    async def carry_out(self, request: Request) -> bool:
        """Show the request; wait for Enter, or for y or n where it is a question."""
        question = isinstance(request, Inspect | LookAtAlarm)
        hint = "y/n, then Enter" if question else "Enter when done"
        while True:
            err().print(f"[bold]>> {request.text}[/bold]  [dim]({hint})[/dim]")
            answer = (await _line()).strip().lower()
            if not question or answer in ("y", "yes", "n", "no"):
                return not question or answer.startswith("y")


async def _line() -> str:
    """One line from the keyboard, given up at once when the run is stopped."""
    descriptor = _descriptor()
    if descriptor is None:
        line: str = await anyio.to_thread.run_sync(sys.stdin.readline)
    else:
        line = await _line_of(descriptor)
    if not line:
        raise UsageError(
            "There is nobody to answer: standard input has ended.",
            do="Run it in a terminal, or with --unattended.",
        )
    return line


def _descriptor() -> int | None:
    """What can be waited for; None where standard input is no stream of the system."""
    if sys.platform == "win32":
        return None
    try:
        return sys.stdin.fileno()
    except (OSError, ValueError):
        return None


async def _line_of(descriptor: int) -> str:
    """A terminal's, pipe's or file's next line; nothing of the one after it is taken."""
    taken = b""
    while not taken.endswith(b"\n"):
        with suppress(PermissionError):  # a file cannot be waited for: it is always ready
            await anyio.wait_readable(descriptor)
        byte = os.read(descriptor, 1)
        if not byte:
            break
        taken += byte
    return taken.decode(errors="replace")
