"""The report of an error that ends a command: its message on standard error, its exit code."""

from __future__ import annotations

import sys
from contextlib import suppress

from ohmwright.model import rf_state
from ohmwright.model.errors import OhmwrightError, ProgramFault, RfUnsafe

from .crash import reportable_errors

_WIDEST = 80


def report_error(problem: BaseException) -> int:
    """Print `problem` to standard error and return its exit code; never raises.

    What was not foreseen is reported as a fault of the program, with a log file. Where RF was on
    and has been read back as off since then, a line says so; not after a warning
    that it may be on, nor after a fault, which tells it itself.
    """
    errors = reportable_errors(problem)
    with suppress(Exception):  # standard error may be gone: the exit code remains
        for error in errors:
            if not error.is_reported:
                print_error(error)
        rf = rf_state.latest()
        told = isinstance(errors[0], (RfUnsafe, ProgramFault))
        if rf.was_on and not rf.may_be_on and not told:
            print(rf.text(), file=sys.stderr, flush=True)  # noqa: T201
    return errors[0].exit_code


def print_error(error: OhmwrightError) -> None:
    """Print what happened, what it means and what to do, to standard error.

    What is not safe of RF is printed in a red frame with a bell.
    """
    error.is_reported = True
    if isinstance(error, RfUnsafe):
        _print_framed(error)
        return
    for part in _parts(error):
        print(part, file=sys.stderr, flush=True)  # noqa: T201 - rich may be the import that failed


def _parts(error: OhmwrightError) -> list[str]:
    return [part for part in (error.happened, error.means, error.do) if part]


def _print_framed(error: OhmwrightError) -> None:
    from rich.box import HEAVY
    from rich.panel import Panel
    from rich.text import Text

    from .console import err

    text = Text("\n\n".join(_parts(error)))
    err().bell()
    frame = Panel(text, box=HEAVY, padding=(1, 2), width=min(_WIDEST, err().width))
    err().print(frame, style="bold white on red")
