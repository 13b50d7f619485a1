"""The messages of one kind of instrument, as data: literal text with named fields, no code."""

from __future__ import annotations

from itertools import chain
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, Field, field_validator

from ohmwright.model.base import FrozenModel
from ohmwright.model.errors import SourceError
from ohmwright.model.source import is_existing_file, load

from .template import (
    check_field_value,
    check_message_fields,
    checked_template,
    fields_of,
    rounded_down,
)

SHIPPED = Path(__file__).parent / "command_sets"
Template = Annotated[str, Field(min_length=1), AfterValidator(checked_template)]
Ask = Literal[
    "identify",
    "error",
    "resynchronise",
    "load",
    "path",
    "contact",
    "state",
    "ceiling",
    "remaining",
    "fetch_current",
    "fetch_leakage",
    "fetch_crest_factor",
    "fetch_waveform",
    "waveform_scale",
    "mode",
    "power",
    "service",
    "point",
    "trim",
    "stored",
    "contact_alarm",
]
Tell = Literal[
    "set_load",
    "set_path",
    "set_contact",
    "set_ceiling",
    "on",
    "off",
    "select_mode",
    "set_power",
    "service_on",
    "service_off",
    "set_point",
    "set_trim",
    "press_key",
    "store",
]
Verb = Ask | Tell
Terminator = Literal["\n", "\r", "\r\n"]


class CommandSet(FrozenModel):
    """The messages of one kind of instrument, and the form of its replies."""

    name: str
    terminator: Terminator = "\n"
    reply_terminator: Terminator = "\n"
    timeout_s: Annotated[float, Field(gt=0, le=3600)] = 1.0
    ask: Annotated[dict[Ask, Template], AfterValidator(check_message_fields)]
    """Messages that are answered. Each may be repeated, save `error`, which empties a queue."""
    tell: Annotated[dict[Tell, Template], AfterValidator(check_message_fields)]
    """Messages that are not answered."""
    reading: tuple[Literal["value", "unit", "number"], ...] = ("value",)
    """The fields of a measured reply, separated by commas."""
    current_unit: Literal["A", "mA"] = "A"

    @property
    def carries_limit(self) -> bool:
        """Whether ON carries a time limit to the instrument."""
        return "limit_s" in fields_of(self.tell.get("on", ""))

    @property
    def verbs(self) -> frozenset[Verb]:
        """Every verb that the set has a message for."""
        return frozenset({*self.ask, *self.tell})

    def can_ask(self, verb: Ask) -> bool:
        """Whether the set has a question `verb`."""
        return verb in self.ask

    @field_validator("reading")
    @classmethod
    def _has_a_value(cls, reading: tuple[str, ...]) -> tuple[str, ...]:
        if reading.count("value") != 1 or len(set(reading)) != len(reading):
            raise ValueError("a reading has one 'value', and each other field at most once")
        return reading

    @field_validator("ask")
    @classmethod
    def _can_resynchronise(cls, ask: dict[Ask, str]) -> dict[Ask, str]:
        if "resynchronise" not in ask:
            raise ValueError("without 'resynchronise' no answer could be believed after a fault")
        return ask

    def message(self, verb: Verb, fields: dict[str, object]) -> bytes:
        """The bytes of the message `verb`. Raises SourceError where the set has no such verb."""
        messages = chain(self.ask.items(), self.tell.items())
        template = next((text for known, text in messages if known == verb), None)
        if template is None:
            raise SourceError(
                f"Command set '{self.name}' does not say how to '{verb}'.",
                "The instrument was not asked.",
                "Add the message to the command set file, from the instrument's manual.",
            )
        for field, value in fields.items():
            check_field_value(field, value)
        return (template.format(**{**fields, **self._rounded(fields)}) + self.terminator).encode(
            "ascii"
        )

    def sent_limit_s(self, limit_s: float) -> float | None:
        """The limit in s that ON carries for `limit_s`, never longer; None without one."""
        if not self.carries_limit:
            return None
        return rounded_down(self.tell["on"], "limit_s", limit_s)

    def _rounded(self, fields: dict[str, object]) -> dict[str, object]:
        """The limit of `fields` rounded down to the digits of ON; empty where ON carries none."""
        limit_s = fields.get("limit_s")
        if not isinstance(limit_s, float | int) or not self.carries_limit:
            return {}
        return {"limit_s": rounded_down(self.tell["on"], "limit_s", limit_s)}


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
        f"{beside}: there is no command set '{name}'.",
        f"Looked for {own} and among the shipped ones: {names}.",
        "Correct 'command_set'.",
    )
