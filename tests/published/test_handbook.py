"""NIST/SEMATECH e-Handbook 6.3.2: EWMA and CUSUM; chart constants; average run lengths."""

from collections.abc import Callable, Iterator
from functools import partial

from ohmwright.fleet import charts, run_length
from ohmwright.installation.check import Check

EWMA_VALUES = (
    *(52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5),
    *(49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1),
)
# The handbook's list starts with the target itself.
EWMA_STATISTIC = (
    *(50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33),
    *(50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99),
)

CUSUM_VALUES = (
    *(324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600),
    *(324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350),
)
# position from 1: upper sum, lower sum
CUSUM_HIGH = {5: 0.0325, 13: 3.0075, 14: 4.9400, 20: 19.0350}
CUSUM_LOW = {2: 0.0075, 4: 0.3325, 7: 0.5575, 8: 0.7150, 9: 0.1725, 10: 0.2550, 11: 0.3125, 12: 0.0}

# n: d2, d3, c4, A2, A3, B3, B4, D3, D4
CONSTANTS = {
    2: (1.12838, 0.85250, 0.797885, 1.8800, 2.6587, 0, 3.2665, 0, 3.2665),
    3: (1.69257, 0.88837, 0.886227, 1.0233, 1.9544, 0, 2.5682, 0, 2.5746),
    4: (2.05875, 0.87981, 0.921318, 0.7286, 1.6281, 0, 2.2660, 0, 2.2821),
    5: (2.32593, 0.86408, 0.939986, 0.5768, 1.4273, 0, 2.0890, 0, 2.1145),
    6: (2.53441, 0.84804, 0.951533, 0.4832, 1.2871, 0.0304, 1.9696, 0, 2.0038),
    7: (2.70436, 0.83321, 0.959369, 0.4193, 1.1819, 0.1177, 1.8823, 0.0757, 1.9243),
    8: (2.84720, 0.81983, 0.965030, 0.3725, 1.0991, 0.1851, 1.8149, 0.1362, 1.8638),
    9: (2.97003, 0.80783, 0.969311, 0.3367, 1.0317, 0.2391, 1.7609, 0.1840, 1.8160),
    10: (3.07751, 0.79705, 0.972659, 0.3083, 0.9754, 0.2837, 1.7163, 0.2230, 1.7770),
}
CONSTANT_NAMES = ("d2", "d3", "c4", "A2", "A3", "B3", "B4", "D3", "D4")

SHIFTS = (0.0, 0.25, 0.5, 1.0, 2.0, 3.0)
CUSUM_RUNS = {
    4.0: (167.684, 74.224, 26.630, 8.383, 3.343, 2.194),
    5.0: (465.444, 139.494, 37.996, 10.376, 4.009, 2.573),
}
# weight, limit: run length at a shift of one sigma
EWMA_RUNS = {
    (0.05, 2.615): 11.38,
    (0.10, 2.814): 10.33,
    (0.20, 2.962): 10.54,
    (0.25, 2.998): 11.14,
    (0.40, 3.054): 14.26,
}


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    yield from _ewma()
    yield from _cusum()
    for n, row in CONSTANTS.items():
        for name, expected in zip(CONSTANT_NAMES, row, strict=True):
            yield Check(
                source="Shewhart chart constants",
                clause=f"n = {n}",
                what=name,
                expected=expected,
                tolerance=6e-5,
                compute=partial(_constant, n, name),
                status="reference",
            )
    yield from _run_lengths()


def _constant(n: int, name: str) -> float:
    return float(getattr(charts.shewhart_constants(n), name))


def _ewma() -> Iterator[Check]:
    clause = "6.3.2.4 EWMA"
    for index, expected in enumerate(EWMA_STATISTIC):
        what = f"statistic after value {index + 1}"
        yield _handbook(clause, what, expected, 0.00501, partial(_ewma_statistic, index))
    yield _handbook(clause, "upper limit", 52.5884, 1e-3, lambda: _ewma_chart().upper)
    yield _handbook(clause, "lower limit", 47.4115, 1e-3, lambda: _ewma_chart().lower)
    yield _handbook(clause, "signals", 0, 0, lambda: len(_ewma_chart().signals))


def _ewma_chart() -> charts.Ewma:
    return charts.ewma(EWMA_VALUES, target=50.0, sigma=2.0539, weight=0.3, limit=3.0)


def _ewma_statistic(index: int) -> float:
    return float(_ewma_chart().statistic[index])


def _cusum_chart() -> charts.Cusum:
    return charts.cusum(CUSUM_VALUES, target=325.0, slack=0.3175, decision_interval=4.1959)


def _cusum() -> Iterator[Check]:
    clause = "6.3.2.3 CUSUM"
    for position, expected in CUSUM_HIGH.items():
        compute = partial(_cusum_high, position)
        yield _recalled(clause, f"upper sum after value {position}", expected, compute)
    for position, expected in CUSUM_LOW.items():
        compute = partial(_cusum_low, position)
        yield _recalled(clause, f"lower sum after value {position}", expected, compute)
    yield _recalled(clause, "first signal at value", 14, lambda: _cusum_chart().signals[0] + 1)


def _cusum_high(position: int) -> float:
    return float(_cusum_chart().high[position - 1])


def _cusum_low(position: int) -> float:
    return float(_cusum_chart().low[position - 1])


def _run_lengths() -> Iterator[Check]:
    source = "Average run lengths"
    for h, row in CUSUM_RUNS.items():
        for shift, expected in zip(SHIFTS, row, strict=True):
            yield Check(
                source,
                "two-sided CUSUM, k = 0.5 (integral equation)",
                f"h = {h:g}, shift {shift:g} sigma",
                expected,
                6e-4,
                partial(run_length.cusum_run_length, 0.5, h, shift),
                "reference",
            )
    for (weight, limit), expected in EWMA_RUNS.items():
        yield Check(
            source,
            "EWMA (Lucas and Saccucci 1990)",
            f"weight {weight}, limit {limit}, shift 1 sigma",
            expected,
            0.006,
            partial(run_length.ewma_run_length, weight, limit, 1.0),
            "reference",
        )
    for shift, expected in ((0.0, 370.398), (1.0, 43.8947)):
        yield Check(
            source,
            "Shewhart, 3 sigma",
            f"shift {shift:g} sigma",
            expected,
            6e-4,
            partial(run_length.shewhart_run_length, shift),
            "reference",
        )
    yield Check(
        source,
        "Western Electric, four rules (Champ and Woodall 1987)",
        "no shift",
        91.75,
        0.005,
        run_length.western_electric_run_length,
        "from memory",
    )


def _handbook(
    clause: str, what: str, expected: float, tolerance: float, compute: Callable[[], float]
) -> Check:
    return Check(
        "NIST/SEMATECH e-Handbook", clause, what, expected, tolerance, compute, "published"
    )


def _recalled(clause: str, what: str, expected: float, compute: Callable[[], float]) -> Check:
    return Check("NIST/SEMATECH e-Handbook", clause, what, expected, 1e-9, compute, "from memory")
