"""Two procedures on the same units: what the second has over the first, with 95 % limits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np

from ohmwright.fleet.binomial import clopper_pearson
from ohmwright.model.errors import UsageError
from ohmwright.uncertainty.inputs import coverage_factor

from .outcome import UnitOutcome

_EACH = 0.975
"""Confidence of each of two shares, so that both hold together with at least 95 %."""


@dataclass(frozen=True)
class PairedDifference:
    """The second less the first, mean over the units that both have run, with its limits."""

    name: str
    first: float
    second: float
    difference: float
    lower: float | None
    upper: float | None
    """None where so few units, or units so alike, tell no limits."""
    units: int
    """How many were compared."""

    @property
    def clear(self) -> bool:
        """Whether the limits leave no doubt which of the two is larger."""
        return (self.lower is not None and self.lower > 0) or (
            self.upper is not None and self.upper < 0
        )

    @property
    def units_to_tell(self) -> int | None:
        """How many units would leave no doubt, were the difference as large as it was seen.

        Limits come closer with the root of the number. None where they are not known, and where
        there was no difference; the units that were compared, where there is no doubt.
        """
        if self.clear:
            return self.units
        if self.lower is None or self.upper is None or self.difference == 0:
            return None
        reach = (self.upper - self.lower) / 2
        return max(self.units + 1, ceil(self.units * (reach / self.difference) ** 2))


def compared(
    first: Sequence[UnitOutcome], second: Sequence[UnitOutcome]
) -> tuple[PairedDifference, ...]:
    """Return the differences of two rehearsals of the same units, in the same order.

    Times: mean of the units' differences with Student's interval. Shares of units: the units that
    only the second has less those that only the first has, each bounded by Clopper and Pearson at
    97.5 %, so that the interval holds with at least 95 %. Raises UsageError for other units.
    """
    if [one.seed for one in first] != [one.seed for one in second]:
        raise UsageError(
            f"The rehearsals are of other units: {_units(first)}, and {_units(second)}.",
            "Units are compared one by one, each with itself.",
            "Rehearse both with the same 'units' and 'seed'; of one that was cut short, anew.",
        )
    shares: dict[str, Callable[[UnitOutcome], bool]] = {
        "false accept": lambda one: one.false_accept,
        "false reject": lambda one: one.false_reject,
        "undecided": lambda one: one.verdict in ("undecided", "not measured"),
        "pass": lambda one: one.verdict == "pass",
        "cut short": lambda one: one.verdict == "cut short",
    }
    times: dict[str, Callable[[UnitOutcome], float]] = {
        "bench_s": lambda one: one.bench_s,
        "on_s": lambda one: one.on_s,
        "load_heat": lambda one: one.load_heat,
        "generator_warmth": lambda one: one.generator_warmth,
    }
    return (
        *(_share(n, [f(u) for u in first], [f(u) for u in second]) for n, f in shares.items()),
        *(_mean(n, [f(u) for u in first], [f(u) for u in second]) for n, f in times.items()),
    )


def _units(outcomes: Sequence[UnitOutcome]) -> str:
    return f"{len(outcomes)}, the first with seed {outcomes[0].seed}" if outcomes else "none"


def _share(name: str, first: Sequence[bool], second: Sequence[bool]) -> PairedDifference:
    units = len(first)
    only_first = sum(a and not b for a, b in zip(first, second, strict=True))
    only_second = sum(b and not a for a, b in zip(first, second, strict=True))
    lost, won = (clopper_pearson(count, units, _EACH) for count in (only_first, only_second))
    return PairedDifference(
        name,
        sum(first) / units,
        sum(second) / units,
        (only_second - only_first) / units,
        won.lower - lost.upper,
        won.upper - lost.lower,
        units,
    )


def _mean(name: str, first: Sequence[float], second: Sequence[float]) -> PairedDifference:
    apart = np.asarray(second) - np.asarray(first)
    mean, units = float(np.mean(apart)), len(first)
    means = float(np.mean(first)), float(np.mean(second)), mean
    spread = float(np.std(apart, ddof=1)) if units > 1 else 0.0
    if spread == 0:
        return PairedDifference(name, *means, None, None, units)
    reach = coverage_factor(units - 1) * spread / sqrt(units)
    return PairedDifference(name, *means, mean - reach, mean + reach, units)
