"""Average run length of control charts: the mean number of values up to the first signal.

For independent normal values whose mean is off target by `shift`, in sigma.
"""

import math

import numpy as np
import numpy.typing as npt

from ohmwright.fleet.charts import WESTERN_ELECTRIC
from ohmwright.uncertainty.inputs import normal_cdf

FloatArray = npt.NDArray[np.float64]
NODES = 60


def shewhart_run_length(shift: float = 0.0, limit: float = 3.0) -> float:
    """Return the average run length of a chart that signals beyond +- limit sigma."""
    return 1.0 / (normal_cdf(-limit - shift) + normal_cdf(shift - limit))


def cusum_run_length(slack: float, decision_interval: float, shift: float = 0.0) -> float:
    """Return the average run length of a two-sided CUSUM from zero; slack and interval in sigma."""
    upper = _one_sided_cusum(slack, decision_interval, shift)
    lower = _one_sided_cusum(slack, decision_interval, -shift)
    return 1.0 / (1.0 / upper + 1.0 / lower)


def ewma_run_length(weight: float, limit: float, shift: float = 0.0) -> float:
    """Return the average run length of an EWMA chart from the target, with steady-state limits."""
    reach = limit * math.sqrt(weight / (2.0 - weight))

    def kernel(start: FloatArray, end: FloatArray) -> FloatArray:
        return _density((end - (1.0 - weight) * start) / weight - shift) / weight

    nodes, weights = _quadrature(-reach, reach)
    lengths = np.linalg.solve(
        np.eye(NODES) - kernel(nodes[:, None], nodes) * weights, np.ones(NODES)
    )
    return 1.0 + float((kernel(np.zeros(1), nodes) * weights) @ lengths)


def western_electric_run_length(shift: float = 0.0) -> float:
    """Return the average run length under all four Western Electric rules, by a Markov chain."""
    chances = _zone_chances(shift)
    states: dict[tuple[int, ...], int] = {(): 0}
    moves: list[tuple[int, int, float]] = []
    pending: list[tuple[int, ...]] = [()]
    while pending:
        history = pending.pop()
        for zone, chance in chances.items():
            if _signals(longer := (*history, zone)):
                continue
            kept = _still_needed(longer)
            if kept not in states:
                states[kept] = len(states)
                pending.append(kept)
            moves.append((states[history], states[kept], chance))
    system = np.eye(len(states))
    for start, end, chance in moves:
        system[start, end] -= chance
    return float(np.linalg.solve(system, np.ones(len(states)))[0])


def _zone_chances(shift: float) -> dict[int, float]:
    """Return the probability of each zone: 1, 2, 3 sigma from the centre, negative below it."""
    chances = {}
    for zone in (1, 2, 3):
        chances[zone] = normal_cdf(zone - shift) - normal_cdf(zone - 1 - shift)
        chances[-zone] = normal_cdf(1 - zone - shift) - normal_cdf(-zone - shift)
    return chances


def _signals(history: tuple[int, ...]) -> bool:
    """Whether the last value of a history of zones completes a Western Electric rule."""
    side = 1 if history[-1] > 0 else -1
    return any(
        side * history[-1] > beyond
        and sum(side * zone > beyond for zone in history[-window:]) >= needed
        for needed, window, beyond in WESTERN_ELECTRIC.values()
    )


def _still_needed(history: tuple[int, ...]) -> tuple[int, ...]:
    """Return the part of a history that rules can still use, so that few states remain."""
    latest_first = history[:-8:-1]
    kept = []
    for age, zone in enumerate(latest_first):
        most = 3 if age < 2 else 2 if age < 4 else 1
        kept.append(max(-most, min(most, zone)))
    same_side = [zone * kept[0] > 0 for zone in kept]
    run = same_side.index(False) if False in same_side else len(kept)
    return tuple(reversed(kept[: max(4, run)]))


def _one_sided_cusum(slack: float, decision_interval: float, shift: float) -> float:
    """Return the average run length of the upper sum from zero, by an integral equation."""
    nodes, weights = _quadrature(0.0, decision_interval)
    rise = slack - shift

    def kernel(start: FloatArray) -> FloatArray:
        return _density(nodes + rise - start) * weights

    # Unknowns: run length from each node, and from zero, where the sum is held.
    system = np.zeros((NODES + 1, NODES + 1))
    starts = np.append(nodes, 0.0)
    system[:, :NODES] = kernel(starts[:, None])
    system[:, NODES] = [normal_cdf(rise - start) for start in starts]
    return float(np.linalg.solve(np.eye(NODES + 1) - system, np.ones(NODES + 1))[NODES])


def _quadrature(low: float, high: float) -> tuple[FloatArray, FloatArray]:
    """Return `NODES` Gauss-Legendre nodes between low and high and their weights."""
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    half = 0.5 * (high - low)
    return low + half * (nodes + 1.0), half * weights


def _density(z: FloatArray) -> FloatArray:
    result: FloatArray = np.exp(-0.5 * z * z) / math.sqrt(math.tau)
    return result
