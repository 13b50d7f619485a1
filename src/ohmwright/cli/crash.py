"""A fault of the program itself: one message, its trace in a log file, and what is known of RF.

Needs nothing but the standard library and the words of an error, so that it can still be told
when an import is what failed.
"""

from __future__ import annotations

import os
import platform
import re
import sys
import tempfile
import traceback
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from ohmwright import __version__
from ohmwright.model import rf_state
from ohmwright.model.errors import OhmwrightError, ProgramFault, ReleaseNotConfirmed, Stopped

_PASSWORD = re.compile(r"(://[^/\s:@]*):[^/\s@]*@")
_LONGEST = 300


def as_told(problem: BaseException) -> tuple[OhmwrightError, ...]:
    """What a person has to be told of `problem`, the most urgent first.

    What nobody foresaw becomes a ProgramFault, whose trace is then in a log file; also where it
    ended an activation whose release could then not be confirmed.
    """
    while isinstance(problem, BaseExceptionGroup) and len(problem.exceptions) == 1:
        problem = problem.exceptions[0]  # what failed in a task of several is what failed
    told = tuple(_fault_or_foreseen(problem))
    if not rf_state.latest().may_be_on or isinstance(told[0], ReleaseNotConfirmed):
        return told
    if isinstance(told[0], ProgramFault):
        return (_rf_unknown("The program itself failed before it could see that RF is off."), *told)
    # what the error itself would have done may lead to the electrodes, and is left out
    return (_rf_unknown(f"It could not be read any more: {told[0].happened}"),)


def _fault_or_foreseen(problem: BaseException) -> Iterator[OhmwrightError]:
    if isinstance(problem, KeyboardInterrupt):
        yield Stopped("Stopped by hand.", rf_state.latest().text())
    elif not isinstance(problem, OhmwrightError):
        yield _fault(problem)
    else:
        yield problem
        behind = problem.__context__
        crashed = isinstance(behind, Exception) and not isinstance(behind, OhmwrightError)
        if isinstance(problem, ReleaseNotConfirmed) and behind is not None and crashed:
            yield _fault(behind)


def _rf_unknown(why: str) -> ReleaseNotConfirmed:
    return ReleaseNotConfirmed(
        rf_state.latest().text(),
        why,
        "Do not touch the electrodes or the load terminals. Switch the generator off at its "
        "mains switch now.",
    )


def _fault(problem: BaseException) -> ProgramFault:
    said = " ".join(_said(problem).split())
    what = f"{type(problem).__name__}: {said[:_LONGEST]}" if said else type(problem).__name__
    return ProgramFault(
        f"ohmwright itself failed: {what}.",
        "This is a fault of the program and says nothing about any unit. "
        f"{rf_state.latest().text()} What was recorded before it is kept: 'ohmwright record list'.",
        f"{_where_the_trace_is(problem)} Give it to whoever looks after the program; a run that "
        "was cut short goes on with --resume.",
    )


def _said(problem: BaseException) -> str:
    try:
        return str(problem)
    except Exception:
        return ""


def _where_the_trace_is(problem: BaseException) -> str:
    """Write the trace down; say where, or why nowhere."""
    text, why = _trace(problem), ""
    for folder in _folders():
        try:
            folder.mkdir(parents=True, exist_ok=True)
            number, name = tempfile.mkstemp(prefix="crash-", suffix=".log", dir=folder)
            with os.fdopen(number, "w", encoding="utf-8", errors="backslashreplace") as file:
                file.write(text)
        except OSError as refused:
            why = why or f"{folder}: {refused.strerror}"
        else:
            return f"The trace is in {name}."
    last = text.rstrip().rsplit("\n  File ", 1)[-1].partition("\n")[0]
    return f"The trace could not be written ({why}); it ended at {last}."


def _folders() -> Iterator[Path]:
    with suppress(Exception):  # it may be the import that failed
        from .places import crash_folder

        yield crash_folder()
    with suppress(OSError):  # there may be no folder for temporary files
        yield Path(tempfile.gettempdir())


def _trace(problem: BaseException) -> str:
    words = _PASSWORD.sub(r"\1:...@", " ".join(sys.argv[1:]))
    head = (
        f"ohmwright {__version__}, Python {platform.python_version()}, {platform.platform()}\n"
        f"command: {words}\n{rf_state.latest().text()}\n\n"
    )
    try:
        return head + _PASSWORD.sub(r"\1:...@", "".join(traceback.format_exception(problem)))
    except Exception as another:
        return f"{head}{type(problem).__name__}, whose trace cannot be shown: {another!r}\n"
