"""Makes a guard's orders from a command set, or takes those that a back end hands over."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from ohmwright.model.hardware import MeterData
from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.exchange import Exchange, MessageText
from ohmwright.wire.serial_format import SerialFormat

from .current_orders import CurrentOrders
from .orders import NUMBER, ZERO, ReleaseOrders

_LEAST_TIMEOUT_S = 1.0
_ABOVE_ZERO_DIGITS = 3
"""Above its zero, in digits, a current is RF (as in instruments/rf_monitor)."""
_FADING_WINDOWS = 4.0
"""Windows of the meter after which it shows nothing of a current that has gone, by a filter too."""


@dataclass(frozen=True)
class HandedOrders:
    """Orders that a back end hands over in place of a command set, and how its port is set."""

    release: ReleaseOrders
    serial: SerialFormat
    current: CurrentOrders | None = None
    """How to ask for the current; None where the guard cannot."""


GuardOrders = CommandSet | HandedOrders
"""What a guard's orders are taken from."""


def orders_with_meter(commands: CommandSet, meter: MeterData) -> HandedOrders:
    """The orders of a guard that sees by `meter`, too, whether a current flows after OFF."""
    return HandedOrders(
        _of_command_set(commands), commands.serial, _current_orders(commands, meter)
    )


def _current_orders(commands: CommandSet, meter: MeterData) -> CurrentOrders | None:
    """None where the current is not asked for, is no plain number, or has several forms."""
    exchange = commands.compiled.exchanges.get("fetch_current")
    if exchange is None or exchange.send is None or len(exchange.replies) != 1:
        return None
    codec = exchange.replies[0].codec("current_ma")
    if codec is None or codec.pattern != NUMBER.encode("ascii"):
        return None
    question = exchange.body({})
    form = exchange.replies[0].pattern_where("current_ma", b"(%s)" % NUMBER.encode("ascii"))
    return CurrentOrders(
        question=commands.frames[0].wrap(question),
        echo=_echo(commands, question) if commands.echo else b"",
        form=form.decode("latin-1"),
        ma_per_unit=float(codec.decode(b"1")),
        zero_ma=meter.largest_zero_ma + _ABOVE_ZERO_DIGITS * meter.resolution_ma,
        fades_s=_FADING_WINDOWS * meter.window_s + 2 / meter.readings_per_s,
    )


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
        form=_any_of(text.pattern for text in _saying_state(state)),
        reads_off=_any_of(_off_pattern(text) for text in _saying_state(state)),
        streamed=compiled.stream_line is not None,
        pause_s=commands.pause_s,
        timeout_s=max(_LEAST_TIMEOUT_S, state.timeout_s),
    )


def _echo(commands: CommandSet, question: bytes) -> bytes:
    sent = commands.frames[0].wrap(question)
    return sent.removesuffix(commands.frames[0].ends) + commands.echo_end


def _saying_state(state: Exchange) -> list[MessageText]:
    """Its replies that say the state: a line without a reading may say nothing of it."""
    texts = (*state.replies, *state.no_reading, *state.over_range)
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
