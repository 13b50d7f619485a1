"""What a program gives to a bench, refused by its name before anything is switched on.

Options are keywords of any name to Python: one that is misspelt would be taken and never used.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from inspect import iscoroutinefunction
from typing import get_args

from ohmwright.instruments.operator import Operator
from ohmwright.model.errors import UsageError
from ohmwright.model.result import Verdict
from ohmwright.model.unknown_keys import suggestion

from .sweep_plan import Sweep

_NOTHING_ON = "Nothing was switched on."
_CHOICES = {"accept_expired", "overwrite"}
"""Options that are taken or not: the text "no" would be taken for a yes."""


def refuse_wrong_options(options: Mapping[str, object], known: type) -> None:
    """Raise UsageError for an option that `known` has not, or a value that it cannot have.

    `known`: the TypedDict of all options.
    """
    names = sorted(known.__annotations__)
    for name in options:
        if name not in names:
            raise UsageError(
                f"There is an {suggestion(name, names, noun='option')}.", _NOTHING_ON, "Correct it."
            )
    for name in sorted(_CHOICES & options.keys()):
        if not isinstance(options[name], bool):
            raise UsageError(
                f"{name}= takes True or False, not {options[name]!r}.", _NOTHING_ON, "Correct it."
            )
    on_event = options.get("on_event")
    if "on_event" in options and not callable(on_event):
        raise UsageError(
            f"on_event= takes a function, not {on_event!r}.",
            _NOTHING_ON,
            "Give one that takes an event.",
        )
    if iscoroutinefunction(on_event):
        raise UsageError(
            "on_event= takes a plain function: nobody would await what it returns.",
            _NOTHING_ON,
            "Write it with 'def', or await where 'points' hands out each point.",
        )


def refuse_no_run(run: object) -> None:
    """Raise UsageError where `run` is not the number of a run as text, or "last"."""
    if not isinstance(run, str):
        raise UsageError(
            f"A run is named by its number, not by {run!r}.",
            do="Give the number as text, as run.id is, or 'last' for the newest.",
        )


def refuse_no_sweep(plan: object) -> None:
    """Raise UsageError where `plan` is no Sweep."""
    if not isinstance(plan, Sweep):
        raise UsageError(
            f"A Sweep is wanted, not {plan!r}.",
            _NOTHING_ON,
            "ohmwright.Sweep(modes=…, loads_ohm=…) makes one, ohmwright.Sweep.read(FILE) reads it.",
        )


def refuse_no_operator(operator: object) -> None:
    """Raise UsageError where `operator` is neither left out nor an Operator."""
    if not (operator is None or isinstance(operator, Operator)):
        raise UsageError(
            f"operator= takes an Operator, who answers requests, not {operator!r}.",
            "Nothing was opened.",
            "'ohmwright guide python' shows one.",
        )


def refuse_wrong_verdict(verdict: str | None, *others: str) -> None:
    """Raise UsageError where there is no such verdict; `others`: what else may be asked for."""
    known = (*get_args(Verdict), *others)
    if not (verdict is None or verdict in known):
        wrong = suggestion(str(verdict), known, noun="verdict")
        raise UsageError(f"There is an {wrong}.", do="Ask for a valid one.")


def refuse_no_time(name: str, time: object) -> None:
    """Raise UsageError where the keyword `name` is neither left out nor a datetime."""
    if not (time is None or isinstance(time, datetime)):
        raise UsageError(
            f"{name}= takes a datetime, not {time!r}.",
            do="datetime.fromisoformat(TEXT) makes one of a text.",
        )
