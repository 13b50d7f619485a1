"""How every command that fails ends: what happened, what it means, what to do; its exit code."""

from __future__ import annotations

import sys
from contextlib import suppress

from ohmwright.model import rf_state
from ohmwright.model.errors import OhmwrightError, ReleaseNotConfirmed

from .crash import as_told

_WIDEST = 80


def told(problem: BaseException) -> int:
    """Tell of `problem`; its exit code, also where nobody can be told any more."""
    errors = as_told(problem)
    with suppress(Exception):  # the code says it
        for error in errors:
            if not error.is_reported:
                tell(error)
        rf = rf_state.latest()
        if rf.was_on and not rf.may_be_on:
            print(rf.text(), file=sys.stderr, flush=True)  # noqa: T201
    return errors[0].exit_code


def tell(error: OhmwrightError) -> None:
    """Print what happened, what it means and what to do, to standard error.

    A release that is not confirmed is framed and rings: nobody may miss it.
    """
    error.is_reported = True
    if isinstance(error, ReleaseNotConfirmed):
        _frame(error)
        return
    for part in _parts(error):
        print(part, file=sys.stderr, flush=True)  # noqa: T201 - needs no import that may fail


def _parts(error: OhmwrightError) -> list[str]:
    return [part for part in (error.happened, error.means, error.do) if part]


def _frame(error: OhmwrightError) -> None:
    from rich.box import HEAVY
    from rich.panel import Panel
    from rich.text import Text

    from .console import err

    said = Text("\n\n".join(_parts(error)))
    err().bell()
    frame = Panel(said, box=HEAVY, padding=(1, 2), width=min(_WIDEST, err().width))
    err().print(frame, style="bold white on red")
