"""A unit as the register of assets holds it."""

from __future__ import annotations

from contextlib import suppress
from datetime import date, timedelta
from typing import Annotated, Literal, get_args

from pydantic import AfterValidator, Field, StringConstraints

from .base import FrozenModel
from .bench_file import Asset

AssetState = Literal["in service", "in repair", "withdrawn"]
ASSET_STATES: tuple[AssetState, ...] = get_args(AssetState)


def _one_line(text: str) -> str:
    if not text.isprintable():
        raise ValueError("it holds a line break or another character that cannot be printed")
    return text


TextLine = Annotated[
    str, StringConstraints(strip_whitespace=True, max_length=200), AfterValidator(_one_line)
]
NamedLine = Annotated[TextLine, StringConstraints(min_length=1)]


def _no_path(text: str) -> str:
    if ".." in text:
        raise ValueError("it holds '..', as a path does; a tag is one word or number")
    return text


def _day_or_nothing(text: str) -> str:
    with suppress(ValueError):
        if not text or date.fromisoformat(text).isoformat() == text:
            return text
    raise ValueError("is no date; write it as 2026-01-31")


class RegisteredAsset(FrozenModel):
    """What is known of a unit: what it is, where it stands, and how it is to be looked after."""

    tag: Annotated[NamedLine, StringConstraints(max_length=60), AfterValidator(_no_path)]
    """The number on the unit's inventory label; one unit, one tag."""
    maker: NamedLine
    model: NamedLine
    serial: NamedLine
    site: TextLine = ""
    """Where it stands: hospital, department, room."""
    owner: TextLine = ""
    procedure: TextLine = ""
    """The procedure file that it is worked by; beside the bench file, or a shipped one's name."""
    interval_months: Annotated[int, Field(ge=1, le=120)] = 12
    state: AssetState = "in service"
    last_passed: Annotated[TextLine, AfterValidator(_day_or_nothing)] = ""
    """The day on which it last passed where that is not on record here, as somebody told it, such
    as 2026-01-31; empty: not told."""

    @property
    def identity(self) -> tuple[str, str, str]:
        """What no two units in use have in common: maker, model and serial number."""
        return self.maker.casefold(), self.model.casefold(), self.serial.casefold()

    @property
    def told_passed_on(self) -> date | None:
        """The day in `last_passed`; None where nobody told one."""
        return date.fromisoformat(self.last_passed) if self.last_passed else None

    def refuse_future(self, today: date) -> None:
        """Raise ValueError where it is said to have passed after `today`, in UTC.

        A day more is allowed: it may be tomorrow already where the unit stands.
        """
        on = self.told_passed_on
        if on is not None and on > today + timedelta(days=1):
            raise ValueError("it lies in the future; give the day on which the unit last passed")

    def has_words(self, words: str) -> bool:
        """Whether each of the words is part of what it is called or where it stands."""
        named = "\n".join((self.tag, self.maker, self.model, self.serial, self.site)).casefold()
        return all(word in named for word in words.casefold().split())

    @property
    def in_use(self) -> bool:
        """Whether it is not withdrawn."""
        return self.state != "withdrawn"

    @property
    def unit(self) -> Asset:
        """The unit as runs and papers name it."""
        return Asset(
            id=self.tag,
            maker=self.maker,
            model=self.model,
            serial=self.serial,
            department=self.site,
        )
