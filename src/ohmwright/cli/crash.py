"""Faults of the program itself: a message, the traceback in a log file, the last RF state.

Imports the standard library, error classes and RF state alone, since an import may be what failed.
"""

from __future__ import annotations

import errno
import os
import platform
import re
import sys
import tempfile
import traceback
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from shlex import quote

from ohmwright import __version__
from ohmwright.model import rf_state
from ohmwright.model.errors import (
    OhmwrightError,
    ProgramFault,
    ReleaseNotConfirmed,
    RfUnsafe,
    Stopped,
)
from ohmwright.model.typed_command import typed_command

_PASSWORD = re.compile(r"(://[^/\s:@]*):[^/\s@]*@")
_LONGEST = 300
_RESUMING = ("calibrate", "verify", "sweep")
"""The commands that take --resume."""


def reportable_errors(problem: BaseException) -> tuple[OhmwrightError, ...]:
    """Return the errors to report for `problem`, the most urgent first; at least one.

    An exception that is no OhmwrightError becomes a ProgramFault, and its traceback is written to a
    log file; also where it ended an activation whose release could then not be confirmed. Where RF
    may be on, ReleaseNotConfirmed comes first.
    """
    while isinstance(problem, BaseExceptionGroup) and len(problem.exceptions) == 1:
        problem = problem.exceptions[0]  # of several tasks, the one that failed
    errors = tuple(_errors_of(problem))
    if not rf_state.latest().may_be_on or isinstance(errors[0], ReleaseNotConfirmed):
        return errors
    if isinstance(errors[0], ProgramFault):
        return (
            _rf_unknown("The program itself failed before it could see that RF is off."),
            *errors,
        )
    # the advice of the error itself may send a person to the electrodes: it is left out
    return (_rf_unknown(f"It could not be read any more: {errors[0].happened}"), *errors[1:])


def _errors_of(problem: BaseException) -> Iterator[OhmwrightError]:
    if _is_interruption(problem):
        yield Stopped("Stopped by hand.", rf_state.latest().text())
    elif not isinstance(problem, OhmwrightError):
        yield _program_fault(problem)
    else:
        yield problem
        behind = problem.__context__
        crashed = isinstance(behind, Exception) and not isinstance(behind, OhmwrightError)
        if isinstance(problem, RfUnsafe) and behind is not None and crashed:
            yield _program_fault(behind)


def _is_interruption(problem: BaseException) -> bool:
    """Whether Ctrl-C is behind it.

    One that comes while a module is imported and pydantic builds a model of it is raised as that
    library's SchemaError, whose words alone tell it.
    """
    by_words = type(problem).__name__ == "SchemaError" and "KeyboardInterrupt" in _text_of(problem)
    return isinstance(problem, KeyboardInterrupt) or by_words


def _rf_unknown(why: str) -> ReleaseNotConfirmed:
    return ReleaseNotConfirmed(
        rf_state.latest().text(),
        why,
        "Do not touch the electrodes or the load terminals. Switch the generator off at its "
        "mains switch now.",
    )


def _program_fault(problem: BaseException) -> ProgramFault:
    known = f"{rf_state.latest().text()} What was recorded before it is kept: "
    known += f"'{typed_command('record list')}'."
    trace = f"{_write_trace(problem)} Give it to whoever looks after the program{_how_to_resume()}."
    missing = _missing_library(problem)
    if missing is not None:
        return ProgramFault(
            f"The library '{missing}' is needed here and not installed.",
            f"The installation is not whole, which says nothing about any unit. {known}",
            f"Install ohmwright anew; '{quote(sys.executable)} -m pip check' names what is "
            f"missing. {trace}",
        )
    lacking = _lacking(problem)
    if lacking:
        return ProgramFault(
            f"The system gave the program no more {lacking}.",
            f"That says nothing about any unit. {known}",
            f"End other programs, or have the limit raised. {trace}",
        )
    text = " ".join(_text_of(problem).split())
    what = f"{type(problem).__name__}: {text[:_LONGEST]}" if text else type(problem).__name__
    return ProgramFault(
        f"ohmwright itself failed: {what}.",
        f"This is a fault of the program and says nothing about any unit. {known}",
        trace,
    )


def _missing_library(problem: BaseException) -> str | None:
    """Return the library that could not be found; None where that is not what happened."""
    name = problem.name if isinstance(problem, ModuleNotFoundError) else None
    library = "" if name is None else name.partition(".")[0]
    return library if library not in ("", "ohmwright") else None


def _lacking(problem: BaseException) -> str:
    """Return what the system refused to give more of; empty where that is not what happened."""
    code = problem.errno if isinstance(problem, OSError) else None
    if isinstance(problem, MemoryError) or code == errno.ENOMEM:
        return "memory"
    if code in (errno.EMFILE, errno.ENFILE):
        return "open files"
    # that of `threading` has no class of its own
    return "threads" if _text_of(problem) == "can't start new thread" else ""


def _how_to_resume() -> str:
    """Return how a run goes on, where the command that failed can do that; else nothing."""
    runs = any(word in _RESUMING for word in sys.argv[1:2])
    return "; a run that was cut short goes on with --resume" if runs else ""


def _text_of(problem: BaseException) -> str:
    try:
        return str(problem)
    except Exception:
        return ""


def _write_trace(problem: BaseException) -> str:
    """Write the traceback to a log file; return a sentence with its path, or why there is none."""
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
    """Yield the folders to try: the user's state folder, then the temporary one."""
    with suppress(Exception):  # it may be the import that failed
        from ohmwright.api.paths import crash_folder

        yield crash_folder()
    with suppress(OSError):  # there may be no folder for temporary files
        yield Path(tempfile.gettempdir())


def _trace(problem: BaseException) -> str:
    """Return versions, command line, RF state and traceback, without passwords of URLs."""
    words = _PASSWORD.sub(r"\1:...@", " ".join(sys.argv[1:]))
    head = (
        f"ohmwright {__version__}, Python {platform.python_version()}, {platform.platform()}\n"
        f"command: {words}\n{rf_state.latest().text()}\n\n"
    )
    try:
        return head + _PASSWORD.sub(r"\1:...@", "".join(traceback.format_exception(problem)))
    except Exception as another:
        return f"{head}{type(problem).__name__}, whose trace cannot be shown: {another!r}\n"
