"""Events of an adjustment: the diagnosis it starts from, each move of a trim, what is stored."""

from __future__ import annotations

from typing import Literal

from .base import FrozenModel
from .hardware import Sense
from .stamped import Stamped


class SenseGain(FrozenModel):
    """One sense gain of a mode, estimated from the power curve; 1 is a sensor that reads true."""

    sense: Sense
    gain: float
    uncertainty: float
    """Standard uncertainty."""
    drifted: float
    """Probability that it has drifted."""


class FirstMove(FrozenModel):
    """An adjustment point, the error expected there and the trim counts to try first."""

    point: str
    step: str
    off: float
    """Relative error of the current expected at the point, before any adjustment."""
    uncertainty: float
    """Standard uncertainty of `off`."""
    worthwhile: bool
    """Whether it is likely out of tolerance or near its limits."""
    counts: int | None = None
    """Counts to try first; None while earlier units have not taught what a count does."""


class CurveDiagnosed(Stamped):
    """The sense gains of a mode, estimated from the as-found power curve, and which has drifted."""

    kind: Literal["diagnosis"] = "diagnosis"
    mode: str
    gains: tuple[SenseGain, ...]
    culprit: Sense | None
    """The one that stands out, if any does."""
    misfit: float
    """Chi square over degrees of freedom; far above 1 the curve does not follow the law."""
    first_moves: tuple[FirstMove, ...]


class TrimMoved(Stamped):
    """The trim of an adjustment point was moved by `counts`.

    Key presses count as many counts as the generator's data say. A move made while RF was on is
    kept after RF is off; `bench_s` tells when it was made.
    """

    kind: Literal["trim_moved"] = "trim_moved"
    point: str
    counts: int
    current_ma: float | None = None
    """The last reading before the move; None with RF off."""
    age_s: float | None = None
    """Age of the activation at the move; None with RF off."""
    key: Literal["coarse", "fine"] | None = None
    """The key that was pressed, where a person works the unit."""
    told_by: str | None = None
    """Who said that it was done; None where it was done by port and read back.

    "the meter" where a person was told what to press, confirmed nothing, and the readings showed
    that it was done; "the meter, which could not rule out a wrong press" where they could not.
    """


class PointLearned(Stamped):
    """The response of an adjustment point as estimated; later runs on this model start with it."""

    kind: Literal["point_learned"] = "point_learned"
    point: str
    gain_per_count: float
    """Change of the current relative to the target."""
    lag_s: float
    dead_s: float
    hunting: float
    """Probability that the unit hunts."""


class TrimsStored(Stamped):
    """The generator has kept its trims."""

    kind: Literal["trims_stored"] = "trims_stored"
    told_by: str | None = None
    """Who said so; None where it was done by port."""


class ServiceLeft(Stamped):
    """Service mode was left before its time; moves that were not stored are undone by that."""

    kind: Literal["service_left"] = "service_left"
    point: str
    told_by: str | None = None
    """Who said so; None where it was done by port."""
