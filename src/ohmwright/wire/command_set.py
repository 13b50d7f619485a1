"""The messages of one kind of instrument, as data: literal text with named fields, no code."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from ohmwright.model.base import FrozenModel
from ohmwright.model.complaint_words import error_at
from ohmwright.model.errors import SourceError
from ohmwright.model.source import is_existing_file, load, place_in

from .command_messages import (
    Acknowledgements,
    CodeTable,
    Seconds,
    ShortAsk,
    ShortTell,
    StreamData,
    Texts,
)
from .exchange import Exchange
from .frame import Frame, LineBytes
from .frame_layout import FrameLayout
from .message_compiler import MessageCompiler
from .message_parts import literal_bytes
from .serial_format import SerialFormat
from .unsayable import REFUSED, held_by_repeats
from .verbs import Ask, Tell, Verb

__all__ = ["Ask", "CommandSet", "Tell", "Verb", "command_set_file", "load_command_set"]
SHIPPED = Path(__file__).parent / "command_sets"
Terminator = Literal["\n", "\r", "\r\n"]
_OF_FORMAT: Mapping[int, tuple[str, ...]] = {
    1: ("terminator", "reply_terminator", "reading", "current_unit"),
    2: (
        *("frame", "reply_frame", "echo", "echo_ends", "pause_s", "serial", "codes"),
        *("answer", "refused", "busy", "unasked", "opening", "closing", "stream"),
    ),
}
"""The keys that only one format has."""

_MADE_READY = ("compiled", "frames", "streamed")
"""Properties that are made once from the others."""


class CommandSet(FrozenModel):
    """The messages of one kind of instrument, and the form of its replies.

    Format 1 is for instruments that answer bare values, one line each, and need nothing else.
    """

    name: str
    format: Literal[1, 2] = 1
    terminator: Terminator = "\n"
    reply_terminator: Terminator = "\n"
    timeout_s: Seconds = 1.0
    reading: tuple[Literal["value", "unit", "number"], ...] = ("value",)
    """The fields of a measured reply, separated by commas."""
    current_unit: Literal["A", "mA"] = "A"
    frame: Frame = Frame()
    """What stands around each message."""
    reply_frame: Frame | None = None
    """What stands around each reply; absent: the same."""
    echo: bool = False
    """Whether the instrument sends each message back before it answers."""
    echo_ends: LineBytes | None = None
    """What ends an echo, where it is not what ends a message."""
    pause_s: Annotated[float, Field(ge=0, le=2)] = 0.0
    """The silence that the instrument needs before each message."""
    serial: SerialFormat = SerialFormat()
    codes: dict[str, CodeTable] = Field(default_factory=dict)
    """Tables of codes, by the field that is written by one."""
    answer: Acknowledgements = ()
    """What acknowledges a command; absent: nothing does."""
    refused: Texts = ()
    """What refuses a message, instead of its answer."""
    busy: Texts = ()
    """What puts off a message that was not carried out and is to be sent again, but for OFF."""
    unasked: Texts = ()
    """What comes by itself and says nothing, such as a sign of life; it is passed over."""
    opening: tuple[ShortTell, ...] = ()
    """Messages before all others, such as the change to remote control; they may be repeated."""
    closing: tuple[ShortTell, ...] = ()
    """Messages after all others."""
    stream: StreamData | None = None
    ask: dict[Ask, ShortAsk]
    """Messages that are answered. Each may be repeated, save `error`, which empties a queue."""
    tell: dict[Tell, ShortTell]
    """Messages that change something."""

    @model_validator(mode="before")
    @classmethod
    def _keys_of_one_format(cls, data: Any) -> Any:
        """Raise where a key belongs to the other format."""
        if isinstance(data, dict) and (known := data.get("format", 1)) in _OF_FORMAT:
            other = 3 - known
            for key in data:
                if key in _OF_FORMAT[other]:
                    raise error_at((key,), f"this key needs 'format = {other}' in its file")
        return data

    @model_validator(mode="before")
    @classmethod
    def _holds_nothing_on(cls, data: Any) -> Any:
        """Raise where a message seems meant to be repeated while RF is on."""
        if isinstance(data, dict):
            for place in held_by_repeats(data):
                raise error_at(place, REFUSED)
        return data

    @model_validator(mode="after")
    def _can_be_compiled(self) -> CommandSet:
        if self.reading.count("value") != 1 or len(set(self.reading)) != len(self.reading):
            what = "a reading has one 'value', and each other field at most once"
            raise error_at(("reading",), what)
        if self.format == 1 and "resynchronise" not in self.ask:
            what = "without 'resynchronise' no answer could be believed after a fault"
            raise error_at(("ask",), f"{what}; format 2 has other proofs")
        if self.echo and self.stream is not None:
            raise error_at(("stream",), "with 'echo' lines and echoes cannot be told apart")
        if self.echo and self.unasked:
            raise error_at(("unasked",), "with 'echo' it cannot be told from what is echoed")
        self.compiled.check()
        return self

    def model_copy(self, *, update: Mapping[str, Any] | None = None, deep: bool = False) -> Self:
        """A copy with other values; what was compiled from the old ones is not kept."""
        copied = super().model_copy(update=update, deep=deep)
        for name in _MADE_READY:
            copied.__dict__.pop(name, None)
        return copied

    def __getstate__(self) -> dict[str, Any]:
        """What another process is handed: it compiles the messages anew."""
        state = super().__getstate__()
        values = {k: v for k, v in state["__dict__"].items() if k not in _MADE_READY}
        return {**state, "__dict__": values}

    @cached_property
    def compiled(self) -> MessageCompiler:
        """Every message made ready."""
        return MessageCompiler(
            ask=self.ask,
            tell=self.tell,
            codes=self.codes,
            named_bytes=self.format > 1,
            reading=(self.reading, self.current_unit) if self.format == 1 else None,
            timeout_s=self.timeout_s,
            answer=self.answer,
            refused=self.refused,
            busy=self.busy,
            unasked=self.unasked,
            stream=self.stream,
            opening=self.opening,
            closing=self.closing,
            framed_by_length=self.frame.length is not None,
            replies_framed_by_length=(self.reply_frame or self.frame).length is not None,
        )

    @cached_property
    def frames(self) -> tuple[FrameLayout, FrameLayout]:
        """The layouts of messages and of replies."""
        if self.format == 1:
            ends = (self.terminator.encode("ascii"), self.reply_terminator.encode("ascii"))
            return FrameLayout(ends=ends[0]), FrameLayout(ends=ends[1])
        passed_over = b"|".join(b"(?:%s)" % each.pattern for each in self.compiled.unasked_texts)
        reply = (self.reply_frame or self.frame).layout()
        return self.frame.layout(), replace(reply, unasked=passed_over.decode("latin-1"))

    @property
    def echo_end(self) -> bytes:
        """What ends an echo."""
        ends = self.frames[0].ends
        return ends if self.echo_ends is None else literal_bytes(self.echo_ends)

    @property
    def unfinished_end(self) -> bytes:
        """What ends a message that was sent in part; empty where nothing but time does."""
        layout = self.frames[0]
        return b"" if layout.length else layout.ends

    @property
    def carries_limit(self) -> bool:
        """Whether ON, or what arms it, carries a time limit to the instrument."""
        return self.sent_limit_s(1.0) is not None

    @property
    def verbs(self) -> frozenset[Verb]:
        """Every verb that the set has a message for."""
        return frozenset({*self.ask, *self.tell, *self.streamed})

    @cached_property
    def streamed(self) -> frozenset[Ask]:
        """The questions that the stream answers."""
        return frozenset(self.compiled.streamed)

    @property
    def longest_s(self) -> float:
        """The longest time in s that one exchange may take."""
        exchanges = self.compiled.exchanges.values()
        return 2 * self.pause_s + max((e.timeout_s for e in exchanges), default=self.timeout_s)

    def can_ask(self, verb: Ask) -> bool:
        """Whether the set has a question `verb`."""
        return verb in self.ask or verb in self.streamed

    def exchange(self, verb: Verb) -> Exchange:
        """The message `verb` made ready. Raises SourceError where the set has no such verb."""
        found = self.compiled.exchanges.get(verb)
        if found is None:
            raise SourceError(
                f"Command set '{self.name}' does not say how to '{verb}'.",
                "The instrument was not asked.",
                "Add the message to the command set file, from the instrument's manual.",
            )
        return found

    def message(self, verb: Verb, fields: dict[str, object]) -> bytes:
        """The bytes of the message `verb` on the line. Raises SourceError."""
        return self.frames[0].wrap(self.exchange(verb).body(fields))

    def sent_limit_s(self, limit_s: float) -> float | None:
        """The limit in s that ON, or what arms it, carries for `limit_s`; None without one.

        It is never longer; where both carry one, it is the shorter.
        """
        said = [self.compiled.exchanges.get(verb) for verb in ("arm", "on")]
        limits_s = [each.limit_s(limit_s) for each in said if each is not None]
        return min((each for each in limits_s if each is not None), default=None)


def keys_of_format(number: int) -> tuple[str, ...]:
    """The keys that only command sets of this format have."""
    return _OF_FORMAT[number]


def load_command_set(name: str, beside: Path) -> CommandSet:
    """The command set in the file `name` next to `beside`, else the shipped one of that name."""
    return load(command_set_file(name, beside), CommandSet)


def command_set_file(name: str, beside: Path) -> Path:
    """The file of command set `name`, next to `beside` or shipped. Raises SourceError."""
    own = beside.parent / name
    shipped = SHIPPED / f"{name}.toml"
    if is_existing_file(own):
        return own
    if is_existing_file(shipped):
        return shipped
    names = ", ".join(sorted(path.stem for path in SHIPPED.glob("*.toml")))
    raise SourceError(
        f"{place_in(beside, ('data', 'command_set'))}: there is no command set '{name}'.",
        f"Looked for {own} and among the shipped ones: {names}.",
        "Correct 'command_set'.",
    )
