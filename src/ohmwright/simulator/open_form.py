"""The one form in which simulated instruments are spoken to, and what stands in it for another."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import cache
from typing import Literal, TypeVar

from ohmwright.instruments.required_messages import ANALYZER
from ohmwright.model.source import load
from ohmwright.wire.command_set import SHIPPED, CommandSet, Verb

Who = Literal["analyzer", "generator"]
V = TypeVar("V", bound=Verb)
M = TypeVar("M")
_ALWAYS: frozenset[Verb] = frozenset({*ANALYZER, "resynchronise", "error"})
"""What no instrument is used without, and what the open form itself is proved by."""


def is_understood(commands: CommandSet) -> bool:
    """Whether a simulated instrument answers the question of a command set that comes first."""
    asked = commands.message("identify", {})
    return asked.endswith(b"\n") and asked.strip().upper() == b"*IDN?"


def stand_in(who: Who, verbs: Collection[Verb], *, limited: bool) -> CommandSet:
    """Return the open form with the abilities of an instrument that is spoken to otherwise.

    `verbs`: what that instrument has a message or method for; `limited`: whether its ON carries a
    time limit.
    """
    whole = _shipped(who)
    tell = _of(whole.tell, verbs)
    if "on" in tell and not limited:
        tell["on"] = tell["on"].model_copy(update={"send": "OUTPut:STATe ON"})
    return whole.model_copy(update={"ask": _of(whole.ask, verbs), "tell": tell})


def _of(messages: Mapping[V, M], verbs: Collection[Verb]) -> dict[V, M]:
    return {verb: said for verb, said in messages.items() if verb in _ALWAYS or verb in verbs}


@cache
def _shipped(who: Who) -> CommandSet:
    return load(SHIPPED / f"scpi-1999-{who}.toml", CommandSet)
