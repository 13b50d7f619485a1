"""The keys of a command set that say one message, and the replies to it."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, model_validator

from ohmwright.model.base import FrozenModel

Text = Annotated[str, Field(min_length=1, max_length=500)]
Seconds = Annotated[float, Field(gt=0, le=3600)]


def _one_or_more(texts: object) -> object:
    return (texts,) if isinstance(texts, str) else texts


Texts = Annotated[
    tuple[Text, ...], BeforeValidator(_one_or_more, json_schema_input_type=str | list[str])
]
"""One text, or a list of those that may stand there."""
Acknowledgements = Annotated[
    tuple[Annotated[str, Field(max_length=500)], ...],
    BeforeValidator(_one_or_more, json_schema_input_type=str | list[str]),
]
"""The same; an empty text is an empty reply, such as a prompt that ends replies and comes alone."""


class AskMessage(FrozenModel):
    """A message that is answered; it may be repeated, save `error`, which empties a queue."""

    send: Text
    reply: Texts | None = None
    """The forms of its reply; absent: the bare value in our own unit."""
    no_reading: Texts = ()
    """What a meter answers that has nothing to show."""
    over_range: Texts = ()
    """What a meter answers beyond its range."""
    timeout_s: Seconds | None = None
    """How long this reply may take; absent: as long as any."""


class TellMessage(FrozenModel):
    """A message that changes something."""

    send: Text
    answer: Acknowledgements | None = None
    """What it is acknowledged by; absent: as the command set says for all, `[]`: not at all."""
    timeout_s: Seconds | None = None
    """How long the acknowledgement may take; absent: as long as any."""
    busy_s: Annotated[float, Field(ge=0, le=30)] = 0.0
    """How long the instrument is at it after that, before it is asked or told anything else."""


def _written_short(message: object) -> object:
    return {"send": message} if isinstance(message, str) else message


ShortAsk = Annotated[
    AskMessage, BeforeValidator(_written_short, json_schema_input_type=str | AskMessage)
]
ShortTell = Annotated[
    TellMessage, BeforeValidator(_written_short, json_schema_input_type=str | TellMessage)
]


class StreamData(FrozenModel):
    """Lines that the instrument sends by itself, once or many times a second."""

    line: Texts
    """The forms of such a line."""
    answers: Annotated[tuple[str, ...], Field(min_length=1)]
    """The questions that a line answers, such as `fetch_current` and `state`."""
    start: ShortTell | None = None
    """The message that starts it; absent: it always runs."""
    stop: ShortTell | None = None
    """The message that stops it."""
    no_reading: Texts = ()
    """Lines that it sends while its meter has nothing to show."""
    over_range: Texts = ()
    """Lines that it sends beyond its meter's range."""

    @model_validator(mode="after")
    def _starts_and_stops(self) -> StreamData:
        if (self.start is None) != (self.stop is None):
            raise ValueError("a stream has both 'start' and 'stop', or always runs")
        return self


def written_codes(table: Any) -> Any:
    """Codes with one text or a list for each value, as lists."""
    if not isinstance(table, dict):
        return table
    return {key: _one_or_more(codes) for key, codes in table.items()}


CodeTable = Annotated[
    dict[str, tuple[Text, ...]],
    BeforeValidator(written_codes, json_schema_input_type=dict[str, str | list[str]]),
]
"""What stands on the line for each value of a field."""
