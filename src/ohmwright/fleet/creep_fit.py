"""The figures of a `CreepModel`, from the histories of its units: partial pooling.

They are those of highest posterior density: likelihood of the filter, and wide priors around
`creep_model.USUAL` that decide alone where a model has few units. Each unit's own rate is then
drawn towards its model's as far as its values leave it open.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from scipy.optimize import minimize

from .creep_filter import Histories, filtered
from .creep_model import USUAL, CreepModel, FloatArray

_MOST_UNITS = 300
"""So many units are enough to learn a model from; more would cost time."""


class _Figure(NamedTuple):
    """A figure that is fitted: of what scale, where its prior lies, and how wide that is."""

    usual: float
    sd: float


_FIGURES = (
    _Figure(USUAL.rate_means[0], 0.3),
    _Figure(USUAL.rate_means[1], 0.3),
    _Figure(np.log(USUAL.rate_sds[0]), 0.7),
    _Figure(np.log(USUAL.rate_sds[1]), 0.7),
    _Figure(np.log(USUAL.settling_share / (1.0 - USUAL.settling_share)), 1.0),
    _Figure(np.log(USUAL.fading), 0.5),
    _Figure(np.log(USUAL.walk_sd), 0.8),
    _Figure(np.log(USUAL.rate_walk_sd), 0.5),
    _Figure(np.log(USUAL.steps_a_year), 0.8),
    _Figure(np.log(USUAL.step_sd), 0.5),
    _Figure(np.log(USUAL.noise_ratio), 0.15),
    _Figure(USUAL.season[0], 0.1),
    _Figure(USUAL.season[1], 0.1),
    _Figure(np.log(USUAL.season_sd), 0.7),
)
_USUAL = np.array([figure.usual for figure in _FIGURES])
_SDS = np.array([figure.sd for figure in _FIGURES])
_FARTHEST, _MOST_MOVES = 3.0, 60
"""Prior deviations that a figure may lie away; steps of the search."""
_NUDGE, _CURVE = 1e-5, 0.05
"""Steps for slopes and for curvature, in prior deviations."""


def fit_creep(seen: Histories, others: int = 8) -> tuple[CreepModel, ...]:
    """Return the likeliest model of the units of `seen`, and `others` that are about as likely.

    The others are drawn from the normal distribution that touches the posterior at its peak, always
    the same ones for the same values. Together they say how well the model is known. Where there
    are no units, `USUAL` alone.
    """
    units = len(seen.times)
    if units == 0:
        return (USUAL,)
    if units > _MOST_UNITS:
        seen = seen.of_units(np.linspace(0, units - 1, _MOST_UNITS).astype(np.intp))
    found: Any = minimize(
        _cost_and_slopes,
        np.zeros(len(_FIGURES)),
        args=(seen,),
        jac=True,
        method="L-BFGS-B",
        bounds=[(-_FARTHEST, _FARTHEST)] * len(_FIGURES),
        options={"maxiter": _MOST_MOVES, "ftol": 1e-7},
    )
    draws = np.random.default_rng(0).normal(size=(others, len(_FIGURES)))
    drawn = found.x + draws @ _spread(found.x, seen).T
    return tuple(_model(each) for each in (found.x, *np.clip(drawn, -_FARTHEST, _FARTHEST)))


def _spread(peak: FloatArray, seen: Histories) -> FloatArray:
    """Return a square root of the posterior covariance at its peak, by its curvature there."""
    moves = _CURVE * np.eye(len(peak))
    ahead = [_cost_and_slopes(peak + move, seen)[1] for move in moves]
    behind = [_cost_and_slopes(peak - move, seen)[1] for move in moves]
    curvature = (np.array(ahead) - np.array(behind)) / (2.0 * _CURVE)
    values, vectors = np.linalg.eigh(0.5 * (curvature + curvature.T))
    # The prior alone has a curvature of 1: no figure is known worse than before its data.
    root: FloatArray = vectors / np.sqrt(np.maximum(values, 1.0))
    return root


def _cost_and_slopes(scaled: FloatArray, seen: Histories) -> tuple[float, FloatArray]:
    """Return the negative log posterior and its slopes, all from one pass through the values."""
    tried = [scaled, *(scaled + _NUDGE * np.eye(len(scaled)))]
    evidence = filtered([_model(each) for each in tried], seen).log_evidence.sum(axis=1)
    costs = np.array([0.5 * each @ each for each in tried]) - evidence
    return float(costs[0]), (costs[1:] - costs[0]) / _NUDGE


def _model(scaled: FloatArray) -> CreepModel:
    """Return the model whose figures lie `scaled` prior deviations from the usual ones."""
    figures = _USUAL + _SDS * scaled
    steady, settling, *logs, cosine, sine, season = (float(figure) for figure in figures)
    sd_steady, sd_settling, odds, fading, walk, turn, steps, step, noise = np.exp(logs).tolist()
    return CreepModel(
        rate_means=(steady, settling),
        rate_sds=(sd_steady, sd_settling),
        settling_share=odds / (1.0 + odds),
        fading=fading,
        walk_sd=walk,
        rate_walk_sd=turn,
        steps_a_year=steps,
        step_sd=step,
        noise_ratio=noise,
        season=(cosine, sine),
        season_sd=float(np.exp(season)),
    )
