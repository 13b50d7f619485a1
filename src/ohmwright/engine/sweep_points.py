"""Which points a sweep has, their order, and whether one that fails ends it."""

from __future__ import annotations

from itertools import chain
from numbers import Number
from random import Random
from typing import Annotated, Literal, NamedTuple

from pydantic import BeforeValidator, Field, model_validator
from pydantic_core import PydanticKnownError

from ohmwright.model.base import FrozenModel
from ohmwright.model.complaint_words import error_at
from ohmwright.model.hardware import MANY, PanelName, Positive

_MOST_POINTS = 5000
"""Some two days at the bench; a longer list is a slip."""


def _in_words(value: object) -> object:
    """Return a choice as a file spells it: on the command line a hyphen joins its words."""
    return value.replace("-", " ") if isinstance(value, str) else value


def _a_number(value: object) -> object:
    """Refuse text and truth values, as in a file: True is no load resistance of 1 ohm."""
    if isinstance(value, bool) or not isinstance(value, Number):
        raise PydanticKnownError("float_type")
    return value


Order = Annotated[Literal["as given", "snake", "random"], BeforeValidator(_in_words)]
FaultChoice = Annotated[Literal["stop", "go on"], BeforeValidator(_in_words)]
_SweepValue = Annotated[Positive, BeforeValidator(_a_number)]
SweepValues = Annotated[tuple[_SweepValue, ...], Field(min_length=1, max_length=MANY)]


class SweepPoint(NamedTuple):
    """One activation of a sweep; `repeat` counts from 1."""

    mode: str
    setting_w: float
    load_ohm: float
    repeat: int

    def name(self) -> str:
        """Return mode, setting and load in words, and the repeat from the second on."""
        again = "" if self.repeat == 1 else f", repeat {self.repeat}"
        return f"{self.mode} {self.setting_w:g} W, {self.load_ohm:g} ohm{again}"


class SweepPoints(FrozenModel):
    """The points of a sweep: every setting of every mode into every load, `repeats` times."""

    modes: Annotated[dict[PanelName, SweepValues], Field(min_length=1, max_length=MANY)]
    """The power settings in W of each output mode."""
    loads_ohm: SweepValues
    repeats: Annotated[int, Field(ge=1, le=100)] = 1
    """How often the whole is measured; one pass follows another."""
    order: Order = "as given"
    """Of each pass. "snake": loads forth and back from one setting to the next, which moves the
    load bank least; "random": shuffled anew for each pass, so that warming up is not mistaken for a
    curve."""
    order_seed: Annotated[int, Field(ge=0)] = 1
    """Chooses the random order."""
    on_fault: FaultChoice = "stop"
    """Whether an activation that fails ends the sweep, or is noted at its point."""

    @model_validator(mode="after")
    def _refuse_values_twice_and_too_many(self) -> SweepPoints:
        for path, values in [
            (("loads_ohm",), self.loads_ohm),
            *((("modes", mode), settings_w) for mode, settings_w in self.modes.items()),
        ]:
            if len({f"{value:g}" for value in values}) < len(values):
                raise error_at(path, "names a value twice; give repeats to measure it again")
        count = self.repeats * sum(map(len, self.modes.values())) * len(self.loads_ohm)
        if count > _MOST_POINTS:
            raise error_at(
                ("loads_ohm",), f"these are {count} points; a sweep has {_MOST_POINTS} at most"
            )
        return self

    def points(self) -> tuple[SweepPoint, ...]:
        """Return every point in the order in which it is measured."""
        shuffled = Random(self.order_seed)
        passes = []
        for repeat in range(1, self.repeats + 1):
            one_pass = [SweepPoint(*key, repeat) for key in self._one_pass()]
            if self.order == "random":
                shuffled.shuffle(one_pass)
            passes.append(one_pass)
        return tuple(chain.from_iterable(passes))

    def _one_pass(self) -> list[tuple[str, float, float]]:
        """Return mode, setting and load of each point of a pass, not shuffled."""
        found, loads_ohm = list[tuple[str, float, float]](), self.loads_ohm
        for mode, settings_w in self.modes.items():
            for setting_w in settings_w:
                found += [(mode, setting_w, load_ohm) for load_ohm in loads_ohm]
                if self.order == "snake":
                    loads_ohm = loads_ohm[::-1]
        return found
