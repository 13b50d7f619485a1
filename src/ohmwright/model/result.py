"""Results: values with their limits and one of four verdicts."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Literal, NamedTuple

from .base import FrozenModel
from .hardware import InputPath
from .quantity import Quantity
from .step import Stage
from .tolerance import Target
from .traceability import Traceability

_LONGEST_SHOWN = 24
AMPLE_DOF = 1e6
"""Degrees of freedom recorded instead of infinitely many, for JSON has no infinity."""
Verdict = Literal["pass", "fail", "undecided", "not measured"]
# the worst comes first: a run is only as good as its worst point
_SEVERITY: tuple[Verdict, ...] = ("fail", "undecided", "not measured", "pass")


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """The gravest of `verdicts`, which is the verdict of the whole; `not measured` for none."""
    return min(verdicts, key=_SEVERITY.index, default="not measured")


class Sample(NamedTuple):
    """One reading: age of the activation in s at the end of the meter's window, current in mA."""

    age_s: float
    current_ma: float


class BudgetEntry(FrozenModel):
    """One line of an uncertainty budget, in the unit of the value it belongs to."""

    source: str
    evaluation: Literal["A", "B"]
    standard_uncertainty: float
    """Its contribution: sensitivity times the standard uncertainty of the input."""
    dof: float | None = None
    """None is infinitely many."""
    shared: str | None = None
    """Name of the error, the same in every line that has the very same one; None for an error of
    this value alone."""


class Measured(FrozenModel):
    """A value with its standard uncertainty, both in the unit of `quantity`."""

    quantity: Quantity | None = None
    value: float
    uncertainty: float
    """Combined standard uncertainty, of all lines of the budget where there is one."""
    dof: float
    age_s: float
    """The age of the activation at which the value holds."""
    expanded: float | None = None
    """Expanded uncertainty, of about 95 % coverage."""
    coverage_factor: float | None = None
    budget: tuple[BudgetEntry, ...] = ()
    left_out: tuple[str, ...] | None = None
    """Effects that no data was given for, and which the budget therefore lacks; None in records
    that do not say."""
    correlation: float | None = None
    """Between the lines of meter and load resistance, where their errors have one cause."""
    propagation: Literal["linear", "Monte Carlo"] = "linear"
    """How the budget's inputs were put together: GUM, or JCGM 101 where that does not hold."""


class Conformity(FrozenModel):
    """How a value was held against its limits."""

    rule: str
    """The decision rule by its name in the standards, with its figures."""
    probability: float
    """Probability that the true value lies inside the tolerance."""
    uncertainty_ratio: float | None = None
    """Test uncertainty ratio: half the tolerance over the expanded uncertainty."""
    accept_from: float | None = None
    accept_to: float | None = None
    """The limits that the rule leaves, in the unit of the target."""
    false_accept: float | None = None
    """Share of all units accepted though out of tolerance, where the rule knows the units."""


class SweepValue(FrozenModel):
    """What a point of a sweep states beside its power."""

    repeat: int
    """Which pass over the points it is of, from 1."""
    current: Measured | None = None
    """The current that the power was computed from; its errors are not other ones."""
    settled: bool = False
    """Whether the value at the stated age was known when the activation ended."""


TraceabilityBasis = (
    Traceability | Literal["none", "not covered", "no scale", "another instrument"] | None
)
"""The analyzer's calibration that a value rests on; "none" where the analyzer has no certificate,
"not covered" where its certificate says nothing of the quantity or of so large a current, "no
scale" where none of its scales enters the value (a ratio, a time), "another instrument" for a
figure that a person read elsewhere; None in records that do not say."""


class Result(FrozenModel):
    """The outcome of one point of one step."""

    stage: Stage
    step: str
    point: str
    kind: str
    verdict: Verdict
    reason: str = ""
    mode: str | None = None
    setting_w: float | None = None
    """None where the point has none, as in service mode."""
    setting_told_by: str | None = None
    """Who said that mode and setting were chosen; None where that was done by port."""
    load_ohm: float | None = None
    path: InputPath | Literal["none", "only"] | None = None
    """What the analyzer's terminals were joined to; None in records that do not say. Papers take
    it as `only` where the analyzer has one input circuit, which nobody joins it to."""
    path_told_by: str | None = None
    """Who said that they were; None where the analyzer does it itself."""
    load_told_by: str | None = None
    """Who said that the load resistance was connected; None where the analyzer does it itself."""
    readings_told_by: str | None = None
    """Who typed the readings; None where they came over a line."""
    keyed_by: str | None = None
    """Who kept RF on with the foot switch; None where the analyzer keyed it."""
    traceability: TraceabilityBasis = None
    """The analyzer's calibration that is part of the uncertainty."""
    target: Target | None = None
    requirement: str = ""
    """What was required, where no target says it, as a clause with its figures."""
    held_against_it: str = ""
    """The figures that were held against the requirement."""
    measured: Measured | None = None
    said: str = ""
    """What a person or a file answered, as it was written; of a step that is answered so."""
    instrument: str = ""
    """The instrument that a figure was read from, as a person or a file named it; empty where
    nobody did, and of a value of the bench's own."""
    conformity: Conformity | None = None
    sweep: SweepValue | None = None
    """None for a point of any other step."""
    on_s: float = 0.0
    start_trim: int | None = None
    """Where the trim stood before the point was adjusted first, in counts."""
    final_trim: int | None = None
    trim_told_by: str | None = None
    """Who told the presses of which the trims are the sum, from 0; None where it was read back."""
    again: Literal["checked", "adjusted"] | None = None
    """What was done to an adjusted point once more, because later trims may have moved it."""
    moved_trims: tuple[str, ...] = ()
    """The points whose trims were moved since, for which it was checked or adjusted again."""
    samples: tuple[Sample, ...] = ()
    """The readings of the activation that gave the value; of two that were pooled, the second."""
    earlier_samples: tuple[Sample, ...] = ()
    """The readings of the first of two activations that were pooled; else empty, and in records
    that keep those of the second alone."""

    @property
    def quantity(self) -> Quantity | None:
        """Of its value, in records that say it; else of its target. None without either."""
        if self.measured is not None and self.measured.quantity is not None:
            return self.measured.quantity
        return None if self.target is None else self.target.quantity

    @property
    def shown(self) -> str:
        """What was answered, where it is short enough for a table; else empty."""
        return self.said if len(self.said) <= _LONGEST_SHOWN else ""

    @property
    def asks_nothing(self) -> bool:
        """Whether it is a settled value without limits, as a sweep's: nothing is to be decided."""
        return self.sweep is not None and self.sweep.settled and self.verdict == "undecided"

    @property
    def error(self) -> float | None:
        """Measured value less target, in the unit of the target."""
        if self.measured is None or self.target is None:
            return None
        return self.measured.value - self.target.value


def worst_of(results: Iterable[Result]) -> Verdict:
    """The gravest verdict of `results`; values without limits count only where all are such."""
    every = tuple(results)
    decided = [one.verdict for one in every if not one.asks_nothing]
    return worst(decided or (one.verdict for one in every))


def asks_nothing(results: Collection[Result]) -> bool:
    """Whether all `results` are settled values without limits, at least one."""
    return bool(results) and all(one.asks_nothing for one in results)


def latest(results: Iterable[Result]) -> tuple[Result, ...]:
    """The results that count: of a point that was measured again, only the last one."""
    return tuple({(each.stage, each.step, each.point): each for each in results}.values())
