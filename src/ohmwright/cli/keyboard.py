"""What a person types: whole lines, and nothing that was typed too early."""

from __future__ import annotations

import os
import sys
from contextlib import suppress

import anyio
import anyio.to_thread

from ohmwright.model.errors import UsageError


def discard_typed() -> None:
    """Throw away what was typed and not read yet. A pipe or a file keeps its lines."""
    if sys.platform == "win32":
        import msvcrt

        while msvcrt.kbhit():
            msvcrt.getwch()
        return
    import termios

    descriptor = _descriptor()
    if descriptor is not None and os.isatty(descriptor):
        termios.tcflush(descriptor, termios.TCIFLUSH)


async def next_line() -> str:
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
