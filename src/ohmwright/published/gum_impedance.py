"""JCGM 100:2008 (the GUM), example H.2: resistance, reactance and impedance, correlated."""

import math
from collections.abc import Callable, Iterator
from functools import lru_cache, partial

from ohmwright.published.checks import Check, Source
from ohmwright.uncertainty.budget import Budget, output_correlation, propagate
from ohmwright.uncertainty.inputs import Input, from_readings, paired_correlation

VOLTAGE_V = (5.007, 4.994, 5.005, 4.990, 4.999)
CURRENT_A = (19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3)
PHASE_RAD = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)

# result: value and u from means with correlations, and from the mean of five results
H2_RESULTS = {
    "R": (127.732169928, 0.0710714074, 127.731630483, 0.0712735432, 127.732, 0.071),
    "X": (219.846511913, 0.2955816774, 219.846894603, 0.2954890856, 219.847, 0.295),
    "Z": (254.259701948, 0.2363361301, 254.260049587, 0.2362475017, 254.260, 0.236),
}
H2_WITHOUT_CORRELATION = {"R": 0.194544, "X": 0.200909, "Z": 0.204076}
H2_CORRELATIONS = {
    ("R", "X"): (-0.58842978, -0.588),
    ("R", "Z"): (-0.48525922, -0.485),
    ("X", "Z"): (0.99251165, 0.993),
}

# H.2, resistance R, reactance X and impedance Z from V, I and phase, read together five times.
H2_MODELS: dict[str, Callable[[float, float, float], float]] = {
    "R": lambda v, i, phase: v / i * math.cos(phase),
    "X": lambda v, i, phase: v / i * math.sin(phase),
    "Z": lambda v, i, _: v / i,
}


@lru_cache(maxsize=1)
def _impedance_inputs() -> tuple[Input, ...]:
    readings = {"V": VOLTAGE_V, "I": CURRENT_A, "phase": PHASE_RAD}
    return tuple(from_readings(label, row, lag1=0.0) for label, row in readings.items())


def _impedance_correlations() -> dict[tuple[str, str], float]:
    return {
        ("V", "I"): paired_correlation(VOLTAGE_V, CURRENT_A),
        ("V", "phase"): paired_correlation(VOLTAGE_V, PHASE_RAD),
        ("I", "phase"): paired_correlation(CURRENT_A, PHASE_RAD),
    }


@lru_cache(maxsize=3)
def _from_means(name: str) -> Budget:
    return propagate(H2_MODELS[name], _impedance_inputs(), _impedance_correlations())


def _from_results(name: str) -> Input:
    results = map(H2_MODELS[name], VOLTAGE_V, CURRENT_A, PHASE_RAD)
    return from_readings(name, list(results), lag1=0.0)


def _uncorrelated(name: str) -> float:
    return propagate(H2_MODELS[name], _impedance_inputs()).standard_uncertainty


def checks() -> Iterator[Check]:
    """Every check of H.2."""
    clause = "H.2 resistance and reactance"
    for pair, printed, exact in (
        (("V", "I"), -0.36, -0.35531122),
        (("V", "phase"), 0.86, 0.85762421),
        (("I", "phase"), -0.65, -0.64511122),
    ):
        what = f"r({pair[0]}, {pair[1]})"
        compute = partial(_input_correlation, pair)
        yield _check(clause, what, printed, 0.005, compute)
        yield _check(f"{clause}, unrounded", what, exact, 1e-8, compute, "reference")
    for name, (value, u, mean, mean_u, printed, printed_u) in H2_RESULTS.items():
        yield _check(clause, f"{name}, ohm", printed, 0.001, partial(_value, name))
        yield _check(clause, f"u({name}), ohm", printed_u, 0.001, partial(_u, name))
        exact_clause = f"{clause}, unrounded"
        yield _check(exact_clause, f"{name}, ohm", value, 1e-8, partial(_value, name), "reference")
        yield _check(exact_clause, f"u({name}), ohm", u, 1e-6, partial(_u, name), "reference")
        second = "H.2.4 approach 2, unrounded"
        yield _check(second, f"{name}, ohm", mean, 1e-8, partial(_mean_result, name), "reference")
        yield _check(
            second, f"u({name}), ohm", mean_u, 1e-9, partial(_mean_result_u, name), "reference"
        )
    for name, expected in H2_WITHOUT_CORRELATION.items():
        yield _check(
            f"{clause}, correlation left out",
            f"u({name}), ohm",
            expected,
            1e-5,
            partial(_uncorrelated, name),
            "reference",
        )
    for names, (exact, printed) in H2_CORRELATIONS.items():
        what = f"r({names[0]}, {names[1]})"
        compute = partial(_output_correlation, names)
        yield _check(clause, what, printed, 6e-4, compute)
        yield _check(f"{clause}, unrounded", what, exact, 1e-6, compute, "reference")


def _input_correlation(pair: tuple[str, str]) -> float:
    return _impedance_correlations()[pair]


def _value(name: str) -> float:
    return _from_means(name).value


def _u(name: str) -> float:
    return _from_means(name).standard_uncertainty


def _mean_result(name: str) -> float:
    return _from_results(name).value


def _mean_result_u(name: str) -> float:
    return _from_results(name).standard_uncertainty


def _output_correlation(names: tuple[str, str]) -> float:
    return output_correlation(_from_means(names[0]), _from_means(names[1]))


_check = Source("GUM (JCGM 100:2008)", "published")
