"""Makes a guard's orders from a command set, or takes those that a back end hands over."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.exchange import Exchange, MessageText
from ohmwright.wire.serial_format import SerialFormat

from .orders import ZERO, ReleaseOrders

_LEAST_TIMEOUT_S = 1.0


@dataclass(frozen=True)
class HandedOrders:
    """Orders that a back end hands over in place of a command set, and how its port is set."""

    release: ReleaseOrders
    serial: SerialFormat


GuardOrders = CommandSet | HandedOrders
"""What a guard's orders are taken from."""


def release_orders(commands: GuardOrders) -> ReleaseOrders:
    """The orders of a guard whose instrument is spoken to by `commands`."""
    return commands.release if isinstance(commands, HandedOrders) else _of_command_set(commands)


def _of_command_set(commands: CommandSet) -> ReleaseOrders:
    state, compiled = commands.exchange("state"), commands.compiled
    asks = state if state.send is not None else compiled.stream_start
    sent, replies = commands.frames
    question = b"" if asks is None else asks.body({})
    return ReleaseOrders(
        off=commands.message("off", {}),
        unfinished=commands.unfinished_end,
        question=b"" if asks is None else sent.wrap(question),
        echo=_echo(commands, question) if commands.echo else b"",
        opening=tuple(sent.wrap(each.body({})) for each in compiled.opening_exchanges),
        closing=tuple(sent.wrap(each.body({})) for each in compiled.closing_exchanges),
        reply=replies,
        form=_any_of(text.pattern for text in (*state.replies, *state.no_reading)),
        reads_off=_any_of(_off_pattern(text) for text in _saying_state(state)),
        streamed=compiled.stream_line is not None,
        pause_s=commands.pause_s,
        timeout_s=max(_LEAST_TIMEOUT_S, state.timeout_s),
    )


def _echo(commands: CommandSet, question: bytes) -> bytes:
    sent = commands.frames[0].wrap(question)
    return sent.removesuffix(commands.frames[0].ends) + commands.echo_end


def _saying_state(state: Exchange) -> list[MessageText]:
    texts = (*state.replies, *state.no_reading)
    return [text for text in texts if "state" in text.fields]


def _off_pattern(text: MessageText) -> bytes:
    """A regular expression for bodies of the form `text` whose state is off."""
    codec = text.codec("state")
    assert codec is not None  # only texts with a state are asked for
    if codec.codes is not None:
        off = b"(?:%s)" % b"|".join(map(re.escape, codec.codes.get("off", ())))
    elif codec.is_binary:
        off = re.escape(codec.encode(0.0))
    else:
        off = ZERO.encode("ascii")
    return text.pattern_where("state", off)


def _any_of(patterns: Iterable[bytes]) -> str:
    return b"|".join(b"(?:%s)" % each for each in patterns).decode("latin-1")
