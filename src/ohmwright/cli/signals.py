"""Signals that stop a run: each cancels the block that is being executed.

QUIT (Ctrl-\\) would end the program without a word, and TSTP (Ctrl-Z) would leave a screen that
nobody updates, and a person before a question that is not shown any more.
"""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import anyio

from .streams import shorten_final_wait


@contextmanager
def cancel_on_signal() -> Iterator[anyio.CancelScope]:
    """Cancel the block on INT, TERM, HUP, QUIT or TSTP; yields its scope.

    A signal that was ignored when the program started (as under nohup) stays ignored. After the
    first signal the others are ignored to the end of the program: they must not cut short the
    release of the output, nor the message that says how to resume.
    """
    loop = asyncio.get_running_loop()
    with anyio.CancelScope() as scope:

        def stop(number: int | None = None, *_: object) -> None:
            if number is not None and (why := _WHY.get(signal.Signals(number).name)):
                _why.append(why)
            shorten_final_wait()
            loop.call_soon_threadsafe(scope.cancel)

        _why.clear()
        _stops.append(stop)
        before = {number: signal.signal(number, stop) for number in _HANDLED}
        try:
            yield scope
        finally:
            _stops.remove(stop)
            for number, handler in before.items():
                signal.signal(number, signal.SIG_IGN if scope.cancel_called else handler)


_stops: list[Callable[[], object]] = []
"""What cancels each block that is being executed, the innermost last."""


_why: list[str] = []
"""Why blocks were stopped since the innermost one began, as clauses; not of INT, TERM and HUP."""


def why_stopped() -> str:
    """Return why the block was cancelled before the end of its run, for the record."""
    return f"The run was stopped before its end{': ' + _why[0] if _why else ''}."


def stop_now(why: str) -> None:
    """Cancel the innermost block as INT does, also where the program was started to ignore INT.

    `why`: a clause for the record.
    """
    _why.append(why)
    if _stops:
        _stops[-1]()
    else:
        signal.raise_signal(signal.SIGINT)


def _not_ignored() -> list[signal.Signals]:
    """The signals to handle: those of the platform that the parent process did not ignore."""
    names = ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT", "SIGTSTP")  # Windows has the first two
    known = (signal.Signals[name] for name in names if hasattr(signal, name))
    return [number for number in known if signal.getsignal(number) is not signal.SIG_IGN]


_WHY = {
    "SIGTSTP": "Ctrl-Z would have left it with nobody who watches RF",
    "SIGQUIT": "it was told to quit (Ctrl-\\)",
}
"""Why some of them stop a run, as clauses for the record."""
_HANDLED = _not_ignored()
"""Taken at import, before anything changes a handler."""
