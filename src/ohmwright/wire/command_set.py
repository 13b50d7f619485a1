"""How one kind of instrument is spoken to, as data: literal text with named fields, no code."""

from __future__ import annotations

import re
from itertools import chain
from pathlib import Path
from string import Formatter
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from ohmwright.model.base import Noun
from ohmwright.model.errors import SourceError
from ohmwright.model.source import load

SHIPPED = Path(__file__).parent / "command_sets"
FIELDS = frozenset(
    {
        "contact_ohm",
        "counts",
        "direction",
        "key",
        "limit_s",
        "load_ohm",
        "mode",
        "nonce",
        "path",
        "point",
        "presses",
        "setting_w",
    }
)
_SPEC = re.compile(r"(\.\d{1,2})?[dfeg]?")


def _literal_with_fields(text: str) -> str:
    """Refuse anything in braces but a known field with a plain number format."""
    try:
        parts = list(Formatter().parse(text))
    except ValueError as problem:
        raise ValueError(f"'{text}' has braces that do not match: {problem}") from None
    for _, field, spec, conversion in parts:
        if field is None:
            continue
        if field not in FIELDS:
            known = ", ".join(sorted(FIELDS))
            raise ValueError(f"'{{{field}}}' is no known field; known are {known}")
        if conversion or _SPEC.fullmatch(spec or "") is None:
            raise ValueError(f"'{{{field}}}' may have a format like '.3f' or 'd' and nothing else")
    return text


Template = Annotated[str, Field(min_length=1), AfterValidator(_literal_with_fields)]
Ask = Literal[
    "identify",
    "error",
    "resynchronise",
    "load",
    "state",
    "fetch_current",
    "fetch_leakage",
    "fetch_crest_factor",
    "fetch_waveform",
    "waveform_scale",
    "power",
    "trim",
    "contact_alarm",
]
Tell = Literal[
    "set_load",
    "set_path",
    "set_contact",
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


class CommandSet(Noun):
    """The messages of one instrument."""

    name: str
    terminator: str = "\n"
    reply_terminator: str = "\n"
    timeout_s: Annotated[float, Field(gt=0)] = 1.0
    ask: dict[Ask, Template]
    """Messages that are answered. Each may be repeated, save `error`, which empties a queue."""
    tell: dict[Tell, Template]
    """Messages that are not answered."""
    reading: tuple[Literal["value", "unit", "number"], ...] = ("value",)
    """The fields of a measured reply, separated by commas."""
    current_unit: Literal["A", "mA"] = "A"

    def message(self, verb: Verb, fields: dict[str, object]) -> bytes:
        """The bytes that say `verb`. Raises SourceError where the set has no such verb."""
        messages = chain(self.ask.items(), self.tell.items())
        template = next((text for known, text in messages if known == verb), None)
        if template is None:
            raise SourceError(
                f"Command set '{self.name}' does not say how to '{verb}'.",
                "The instrument was not asked.",
                "Add the message to the command set file, from the instrument's manual.",
            )
        return (template.format(**fields) + self.terminator).encode("ascii")


def load_command_set(name: str, beside: Path) -> CommandSet:
    """The command set in file `name` next to `beside`, else the shipped one of that name."""
    own = beside.parent / name
    shipped = SHIPPED / f"{name}.toml"
    if own.is_file():
        return load(own, CommandSet)
    if shipped.is_file():
        return load(shipped, CommandSet)
    names = ", ".join(sorted(path.stem for path in SHIPPED.glob("*.toml")))
    raise SourceError(
        f"{beside}: there is no command set '{name}'.",
        f"Looked for {own} and among the shipped ones: {names}.",
        "Correct 'command_set'.",
    )
