"""Makes the messages of a command set ready, and says what is wrong with which of them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain

from ohmwright.model.complaint_words import error_at
from ohmwright.model.positions import Path

from .command_messages import AskMessage, StreamData, TellMessage
from .exchange import Exchange, MessageText, message_text
from .field_codec import Codes, FieldCodec, code_value
from .field_names import meaning_of
from .message_parts import literal_bytes, shown_bytes
from .verbs import ASKED_FIELD, PLAIN_REPLIES, QUESTIONS, READINGS, SENT_FIELDS, Ask, Tell

_WITH_OR_WITHOUT_LIMIT = ("arm", "on")
_V1_CURRENT = {"A": "current_a", "mA": "current_ma"}


@dataclass(frozen=True)
class MessageCompiler:
    """The messages of a command set, as its file has them; `exchanges` are ready to be sent.

    Every problem is raised as pydantic's error at its key.
    """

    ask: Mapping[Ask, AskMessage]
    tell: Mapping[Tell, TellMessage]
    codes: Mapping[str, Mapping[str, tuple[str, ...]]]
    named_bytes: bool
    reading: tuple[tuple[str, ...], str] | None
    """In format 1: the fields of a reading, and the unit of its value."""
    timeout_s: float
    answer: tuple[str, ...]
    refused: tuple[str, ...]
    busy: tuple[str, ...]
    unasked: tuple[str, ...]
    stream: StreamData | None
    opening: tuple[TellMessage, ...]
    closing: tuple[TellMessage, ...]
    framed_by_length: bool
    replies_framed_by_length: bool

    def check(self) -> None:
        """Raise pydantic's error at the first key that is wrong."""
        _ = self.exchanges, self.opening_exchanges, self.closing_exchanges
        _ = self.stream_line, self.stream_start, self.stream_stop, self.unasked_texts
        self._check_arm()

    @cached_property
    def exchanges(self) -> Mapping[str, Exchange]:
        """Every message by its verb; also those that the stream answers."""
        made: dict[str, Exchange] = {}
        for ask, question in self.ask.items():
            made[ask] = self._question(ask, question)
        for tell, command in self.tell.items():
            made[tell] = self._command(tell, command, ("tell", tell))
        for verb in self.streamed:
            made[verb] = self._streamed_question(verb)
        return made

    @cached_property
    def opening_exchanges(self) -> tuple[Exchange, ...]:
        """The messages before all others."""
        return self._listed("opening", self.opening)

    @cached_property
    def closing_exchanges(self) -> tuple[Exchange, ...]:
        """The messages after all others."""
        return self._listed("closing", self.closing)

    @cached_property
    def unasked_texts(self) -> tuple[MessageText, ...]:
        """The forms of what comes by itself and says nothing; no reply may have one of them."""
        texts = self._replies(self.unasked, ("unasked",))
        for at, text in enumerate(texts):
            for exchange in (*self.exchanges.values(), *self.opening_exchanges):
                forms = (exchange.replies, exchange.refusals, exchange.busy, exchange.no_reading)
                if any(text.fits(form.sample()) for form in chain(*forms)):
                    what = f"'{text.text}' may also be a reply to '{exchange.verb}'"
                    raise error_at(("unasked", at), f"{what}, which would be passed over")
        return texts

    @cached_property
    def streamed(self) -> tuple[Ask, ...]:
        """The questions that the stream answers."""
        if self.stream is None:
            return ()
        known = tuple(verb for verb in QUESTIONS if verb in self.stream.answers)
        for at, verb in enumerate(self.stream.answers):
            if verb not in known or verb in self.ask:
                what = f"'{verb}' is no question" if verb not in known else f"'{verb}' is asked"
                raise error_at(("stream", "answers", at), f"{what}; a line cannot answer it")
        return known

    @cached_property
    def stream_line(self) -> Exchange | None:
        """The lines of the stream; None where there is none."""
        if self.stream is None:
            return None
        return Exchange(
            "a line of the stream",
            None,
            self._replies(self.stream.line, ("stream", "line")),
            self.timeout_s,
            no_reading=self._replies(self.stream.no_reading, ("stream", "no_reading")),
            over_range=self._replies(self.stream.over_range, ("stream", "over_range")),
        )

    @cached_property
    def stream_start(self) -> Exchange | None:
        """The message that starts the stream, if one does."""
        return self._of_stream("start")

    @cached_property
    def stream_stop(self) -> Exchange | None:
        """The message that stops the stream, if one does."""
        return self._of_stream("stop")

    def _check_arm(self) -> None:
        """Raise where a limit that was lost before ON would leave an older one in force, unseen."""
        arm = self.exchanges.get("arm")
        if arm is None:
            return
        if "on" not in self.tell:
            raise error_at(("tell", "arm"), "it comes right before 'on', which is missing")
        is_seen = bool(arm.replies) or "remaining" in self.ask or "remaining" in self.streamed
        if arm.limit_s(1.0) is not None and not is_seen:
            what = "a limit that is lost here would leave an older one in force at ON"
            raise error_at(("tell", "arm"), f"{what}: give its 'answer', or ask 'remaining'")

    def _of_stream(self, which: str) -> Exchange | None:
        command = None if self.stream is None else getattr(self.stream, which)
        return None if command is None else self._command(which, command, ("stream", which))

    def _listed(self, key: str, commands: tuple[TellMessage, ...]) -> tuple[Exchange, ...]:
        return tuple(self._command(key, each, (key, at)) for at, each in enumerate(commands))

    def _question(self, verb: Ask, question: AskMessage) -> Exchange:
        path: Path = ("ask", verb)
        replies = self._replies(question.reply or self._plain(verb), (*path, "reply"))
        return Exchange(
            verb,
            self._sent(verb, question.send, path),
            replies,
            question.timeout_s or self.timeout_s,
            self._asked(verb, replies, (*path, "reply")),
            self._replies(question.no_reading, (*path, "no_reading")),
            self._replies(question.over_range, (*path, "over_range")),
            self._replies(self.refused, ("refused",)),
            self._replies(self.busy, ("busy",)),
        )

    def _streamed_question(self, verb: Ask) -> Exchange:
        line = self.stream_line
        assert line is not None  # else nothing is streamed
        return replace(line, verb=verb, asked=self._asked(verb, line.replies, ("stream", "line")))

    def _command(self, verb: str, command: TellMessage, path: Path) -> Exchange:
        answers = self.answer if command.answer is None else command.answer
        return Exchange(
            verb,
            self._sent(verb, command.send, path),
            self._replies(answers, (*path, "answer")),
            command.timeout_s or self.timeout_s,
            refusals=self._replies(self.refused, ("refused",)),
            busy=self._replies(self.busy, ("busy",)),
            busy_s=self._busy_s(verb, command, path),
        )

    def _busy_s(self, verb: str, command: TellMessage, path: Path) -> float:
        """How long nothing is said after a command; around RF nothing may wait."""
        if command.busy_s and verb in ("on", "off"):
            raise error_at((*path, "busy_s"), "nothing may wait after ON and OFF; leave it out")
        return command.busy_s

    def _plain(self, verb: Ask) -> tuple[str, ...]:
        """The reply of a question whose form is not said."""
        if verb not in READINGS:
            return PLAIN_REPLIES.get(verb, ())
        if self.reading is None:
            raise error_at(("ask", verb), "the key 'reply' is missing here")
        fields, unit = self.reading
        value = "ratio" if verb == "fetch_crest_factor" else _V1_CURRENT[unit]
        said = {"value": f"{{{value}}}", "unit": unit, "number": "{number:d}"}
        if verb == "fetch_crest_factor":
            said["unit"] = "1"
        return (",".join(said[field] for field in fields),)

    def _asked(self, verb: Ask, replies: tuple[MessageText, ...], path: Path) -> str:
        """The field for which `verb` is asked. Raises where a reply lacks it."""
        field = ASKED_FIELD.get(verb, "")
        if verb == "fetch_current" and "power_w" in replies[0].fields:
            field = "power_w"
        for reply in replies:
            if field and field not in reply.fields:
                raise error_at(path, f"'{reply.text}' must hold '{{{field}}}', which '{verb}' asks")
        return field

    def _sent(self, verb: str, text: str, path: Path) -> MessageText:
        made = self._made(text, path, reply=False)
        found, due = made.fields, SENT_FIELDS.get(verb, frozenset())
        if found - due:
            raise error_at(path, f"'{verb}' has no field '{min(found - due)}'")
        if due - found and verb not in _WITH_OR_WITHOUT_LIMIT:
            raise error_at(path, f"'{verb}' must hold '{{{min(due - found)}}}'")
        if not self.framed_by_length:
            _refuse_binary(made, path)
        return made

    def _replies(self, texts: Iterable[str], path: Path) -> tuple[MessageText, ...]:
        return tuple(self._reply(text, path) for text in texts)

    def _reply(self, text: str, path: Path) -> MessageText:
        made = self._made(text, path, reply=True)
        if not self.replies_framed_by_length:
            _refuse_binary(made, path)
        return made

    def _made(self, text: str, path: Path, *, reply: bool) -> MessageText:
        codes = self._code_bytes
        try:
            return message_text(text, codes, named_bytes=self.named_bytes, reply=reply)
        except ValueError as problem:
            raise error_at(path, str(problem)) from None

    @cached_property
    def _code_bytes(self) -> Mapping[str, Codes]:
        return {field: _codes_of(field, table) for field, table in self.codes.items()}


def _codes_of(field: str, table: Mapping[str, tuple[str, ...]]) -> Codes:
    path: Path = ("codes", field)
    made = dict[str, tuple[bytes, ...]]()
    try:
        meaning = meaning_of(field)
        for value, codes in table.items():
            path = ("codes", field, value)
            code_value(meaning.kind, value)
            made[value] = tuple(literal_bytes(code) for code in codes)
            _refuse_second_meaning(made, value)
    except ValueError as problem:
        raise error_at(path, str(problem)) from None
    return made


def _refuse_second_meaning(table: Codes, value: str) -> None:
    """Raise ValueError where what stands for `value` stands for another value, too."""
    for other, codes in table.items():
        if other != value and (both := set(codes) & set(table[value])):
            raise ValueError(f"'{shown_bytes(min(both))}' stands for '{other}' as well")


def _refuse_binary(text: MessageText, path: Path) -> None:
    for part in text.parts:
        if isinstance(part, FieldCodec) and part.is_binary:
            raise error_at(
                path,
                f"'{{{part.name}}}' is binary and may hold the bytes that end a frame; "
                "the frame needs a 'length'",
            )
