"""Confidence limits of a binomial share."""

from collections.abc import Callable, Iterator
from functools import partial

from ohmwright.fleet import binomial
from ohmwright.fleet.binomial import ShareLimits
from ohmwright.installation.check import Check, Status

# successes, trials, confidence: Wilson and Clopper-Pearson limits, their rounding
BINOMIAL: tuple[tuple[int, int, float, tuple[float, ...], float, Status], ...] = (
    (4, 20, 0.95, (0.0806577, 0.4160174, 0.0573340, 0.4366140), 6e-8, "reference"),
    (81, 263, 0.95, (0.2553, 0.3662, 0.2527, 0.3676), 6e-5, "from memory"),
    (15, 148, 0.95, (0.0624, 0.1605, 0.0578, 0.1617), 6e-5, "from memory"),
    (0, 20, 0.95, (0.0, 0.1611, 0.0, 0.1684), 6e-5, "from memory"),
    (1, 29, 0.95, (0.0061, 0.1718, 0.0009, 0.1776), 6e-5, "from memory"),
    (15, 20, 0.95, (0.5313, 0.8881, 0.508954, 0.913429), 6e-5, "reference"),
)


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    yield from _limits("Clopper-Pearson", 4, 20, 0.90, (0.071354, 0.401029), 2e-6, "from memory")
    yield from _limits("Wilson", 4, 20, 0.90, (0.0931, 0.3784), 6e-5, "reference")
    for good, trials, confidence, row, tolerance, status in BINOMIAL:
        case = (good, trials, confidence)
        yield from _limits("Wilson", *case, row[:2], tolerance, status)
        yield from _limits("Clopper-Pearson", *case, row[2:], tolerance, status)


METHODS: dict[str, Callable[[int, int, float], ShareLimits]] = {
    "Wilson": binomial.wilson,
    "Clopper-Pearson": binomial.clopper_pearson,
}


def _limits(
    method: str,
    good: int,
    trials: int,
    confidence: float,
    expected: tuple[float, ...],
    tolerance: float,
    status: Status,
) -> Iterator[Check]:
    for end, value in zip(("lower", "upper"), expected, strict=True):
        yield Check(
            "Binomial (Newcombe 1998, e-Handbook 7.2.4.1)",
            method,
            f"{end}, {good}/{trials} at {100 * confidence:g} %",
            value,
            tolerance,
            partial(_end, method, end, good, trials, confidence),
            status,
        )


def _end(method: str, end: str, good: int, trials: int, confidence: float) -> float:
    return float(getattr(METHODS[method](good, trials, confidence), end))
