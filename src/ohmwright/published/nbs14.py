"""NIST SP 1065 (W. J. Riley), the NBS14 test suites for Allan deviations."""

from collections.abc import Callable, Iterator
from functools import lru_cache, partial

import numpy as np
import numpy.typing as npt

from ohmwright.fleet import stability
from ohmwright.published.checks import Check

FloatArray = npt.NDArray[np.float64]
Deviation = Callable[[FloatArray, int], float]

NINE = np.array([892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0])

DEVIATIONS: dict[str, Deviation] = {
    "Allan": stability.allan_deviation,
    "overlapping Allan": stability.overlapping_allan_deviation,
    "modified Allan": stability.modified_allan_deviation,
    "Hadamard": stability.hadamard_deviation,
    "overlapping Hadamard": stability.overlapping_hadamard_deviation,
    "time": stability.time_deviation,
}

# span: in the order of DEVIATIONS
THOUSAND_POINTS = {
    1: (2.922319e-1, 2.922319e-1, 2.922319e-1, 2.943883e-1, 2.943883e-1, 1.687202e-1),
    10: (9.965736e-2, 9.159953e-2, 6.172376e-2, 1.052754e-1, 9.581083e-2, 3.563623e-1),
    100: (3.897804e-2, 3.241343e-2, 2.170921e-2, 3.910860e-2, 3.237638e-2, 1.253382),
}

NINE_POINTS = (
    ("Allan", 1, 91.22945),
    ("Allan", 2, 115.8082),
    ("overlapping Allan", 2, 85.95287),
    ("modified Allan", 2, 74.78849),
    ("Hadamard", 1, 70.80607),
    ("Hadamard", 2, 116.7980),
)


def checks() -> Iterator[Check]:
    """Every deviation of both suites."""
    for name, span, expected in NINE_POINTS:
        compute = partial(DEVIATIONS[name], NINE, span)
        yield _check("nine points", f"{name} deviation, span {span}", expected, compute)
    for span, row in THOUSAND_POINTS.items():
        for name, expected in zip(DEVIATIONS, row, strict=True):
            compute = partial(_of_thousand, name, span)
            yield _check("1000 points", f"{name} deviation, span {span}", expected, compute)


def _check(clause: str, what: str, expected: float, compute: Callable[[], float]) -> Check:
    return Check("NIST SP 1065", clause, what, expected, 6e-7 * expected, compute, "published")


@lru_cache(maxsize=1)
def _thousand() -> FloatArray:
    numbers, state = np.empty(1000), 1234567890
    for index in range(1000):
        numbers[index] = state / 2147483647
        state = 16807 * state % 2147483647
    return numbers


def _of_thousand(name: str, span: int) -> float:
    return DEVIATIONS[name](_thousand(), span)
