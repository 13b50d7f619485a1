"""What is known of a point whose adjustment ends without a confirmation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ohmwright.adjustment.point import PointSpec
from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.thermal_droop import cooled

from .findings import Findings
from .rf_budget import RfBudget
from .unit_estimator import UnitEstimator

_SETTLED_LAGS = 5.0
"""So many lags after the dead time a rise has come within 1 % of its level."""


@dataclass(frozen=True)
class Evidence:
    """What is known of a point at the end of its adjustment.

    `tolerance`, `digit` in the unit of the readings; `_tolerances` in those. `value`,
    `uncertainty`: of the latest confirmation; None without one. `noise`: standard deviation of a
    reading; `hunting`: its probability by readings, `swing` its standard deviation; `at_age_s`: age
    asked for, `settles_s`: age at which the rise has gone; `left_over`: droop still felt after a
    rest of `rest_s`; `play`: lost motion; `time_outs`: activations that the service mode
    ended, the first of them after `times_out_s`; `surprises`: outputs that were not as predicted, 0
    where `play` explains them.
    """

    tolerance: float
    digit: float
    rest_s: float
    rf_on_s: float
    value_tolerances: float | None = None
    uncertainty_tolerances: float | None = None
    noise_tolerances: float = 0.0
    hunting: float = 0.0
    swing_tolerances: float = 0.0
    at_age_s: float = 0.0
    settles_s: float = 0.0
    left_over_tolerances: float = 0.0
    play_counts: float = 0.0
    play_tolerances: float = 0.0
    time_outs: int = 0
    times_out_s: float = 0.0
    surprises: int = 0
    bends: int = 0
    """Confirmations in which it sank on after the age asked for; one may hunt."""
    by_keys: bool = False
    """Whether a person moved the trim by its keys."""


def evidence(
    spec: PointSpec,
    findings: Findings,
    budget: RfBudget,
    estimator: UnitEstimator,
    warmth_uncertainty: float,
) -> Evidence:
    """What findings, budget and estimator know of a point at its end.

    `warmth_uncertainty`: standard uncertainty by the warmth left over, relative to the target.
    """
    question, prior, fit = spec.question, estimator.prior, estimator.latest_fit
    tolerance = question.tolerance / question.target
    noise = 0.0 if fit is None else float(np.sqrt(fit.start.variance))
    droop = prior.mean_of(Coefficient.DROOP) * cooled(1.0, spec.rest_s)
    losses = findings.backlash.losses
    # an output that settles as the model does not, misses its prediction without any play
    settles = not estimator.habits.rises_otherwise
    explains_all = settles and losses > 1 and losses >= findings.surprises
    play = findings.backlash.play_counts if explains_all else 0.0
    latest = findings.latest
    return Evidence(
        tolerance=question.tolerance,
        digit=question.resolution,
        rest_s=spec.rest_s,
        rf_on_s=budget.spent_s,
        value_tolerances=None if latest is None else latest.mean,
        uncertainty_tolerances=None if latest is None else latest.sd,
        noise_tolerances=noise / tolerance,
        hunting=estimator.seen_hunting,
        swing_tolerances=estimator.habits.swing / tolerance,
        at_age_s=question.at_age_s,
        settles_s=prior.dead_time_s + _SETTLED_LAGS * prior.lag_s,
        left_over_tolerances=max(0.0, droop, warmth_uncertainty) / tolerance,
        play_counts=play,
        play_tolerances=play * abs(prior.mean_of(Coefficient.GAIN)) / tolerance,
        time_outs=budget.time_outs,
        times_out_s=budget.times_out_s,
        surprises=findings.surprises if play == 0 else 0,
        bends=findings.bends,
        by_keys=spec.keys is not None,
    )
