"""What is known of each adjustment before it begins, from as-found power curves and the fleet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ohmwright.adjustment.fleet_prior import FleetPrior
from ohmwright.adjustment.point import Expected
from ohmwright.estimation.power_curve_diagnosis import (
    SENSES,
    Diagnosis,
    OutputLimits,
    PowerCurve,
    diagnose,
    nominal_limits,
)
from ohmwright.model.event import CurveDiagnosed, FirstMove, SenseGain
from ohmwright.model.hardware import GeneratorData, Sense
from ohmwright.model.result import Result

from .prior_of_point import PriorOfPoint
from .procedure import Procedure
from .session import Session
from .steps.adjust import AdjustStep
from .steps.power_curve import PowerCurveStep

_FEWEST_LOADS = 3
"""Measured load resistances that a power curve needs to be diagnosed."""
_MODEL_SD = 0.003
"""Relative standard uncertainty of an expected current by the loads and the power law."""
_WORTHWHILE_TOLERANCES = 0.5
"""A point expected farther off than this part of its tolerance is worth adjusting."""


@dataclass(frozen=True)
class ModeDiagnosis:
    """The sense gains of one mode, estimated from its as-found power curve."""

    mode: str
    limits: OutputLimits
    diagnosis: Diagnosis

    def expected_error(self, step: AdjustStep, corrected: frozenset[Sense]) -> tuple[float, float]:
        """Return the relative error of the current at a step's load, and its standard uncertainty.

        `corrected`: senses whose gain is 1 by then, since earlier steps have adjusted them.
        """
        gain, sd = self.diagnosis.gain, self.diagnosis.sd
        gains = np.array([1.0 if sense in corrected else gain[sense] for sense in SENSES])
        current_a = self._current_a(step.load_ohm, gains)
        error = current_a / self._current_a(step.load_ohm, np.ones(3)) - 1
        changes = [_MODEL_SD]
        for i, sense in enumerate(SENSES):
            shifted = gains.copy()
            shifted[i] += sd[sense]
            changes.append(self._current_a(step.load_ohm, shifted) / current_a - 1)
        return error, float(np.linalg.norm(changes))

    def _current_a(self, load_ohm: float, gains: np.ndarray) -> float:
        return float(np.sqrt(self.limits.power(np.array([load_ohm]), gains)[0] / load_ohm))


def priors_of_points(
    procedure: Procedure,
    generator: GeneratorData,
    results: Sequence[Result],
    fleet: Mapping[str, FleetPrior],
) -> dict[str, PriorOfPoint]:
    """Return what is known of the point of each adjust step, by the step's name.

    `results`: those of the as-found stage; `fleet`: by adjustment point.
    """
    priors: dict[str, PriorOfPoint] = {}
    curves = {each.mode: each for each in mode_diagnoses(procedure, results)}
    for step, error, sd in _expected_errors(procedure, generator, curves):
        expected = (
            None if error is None else Expected(step.current_ma * (1 + error), step.current_ma * sd)
        )
        priors[step.name] = PriorOfPoint(fleet.get(step.point), expected)
    return priors


def diagnosis_events(
    session: Session,
    procedure: Procedure,
    results: Sequence[Result],
    priors: Mapping[str, PriorOfPoint],
) -> Iterator[CurveDiagnosed]:
    """Yield an event for each mode whose as-found power curve could be diagnosed."""
    generator = session.bench.generator.data
    for curve in mode_diagnoses(procedure, results):
        found = curve.diagnosis
        errors = _expected_errors(procedure, generator, {curve.mode: curve})
        yield CurveDiagnosed(
            **session.stamp(),
            mode=curve.mode,
            gains=tuple(_sense_gain(found, sense) for sense in SENSES),
            culprit=found.culprit,
            misfit=found.misfit,
            first_moves=tuple(
                _first_move(step, error, sd, priors[step.name].prior)
                for step, error, sd in errors
                if error is not None
            ),
        )


def mode_diagnoses(procedure: Procedure, results: Sequence[Result]) -> Iterator[ModeDiagnosis]:
    """Yield a diagnosis for each as-found power curve with enough measured loads."""
    for step in procedure.steps_in("as_found"):
        if isinstance(step, PowerCurveStep):
            curve = [
                r for r in results if (r.stage, r.step) == ("as_found", step.name) and r.measured
            ]
            if len(curve) >= _FEWEST_LOADS:
                yield _mode_diagnosis(step, curve)


def _mode_diagnosis(step: PowerCurveStep, results: Sequence[Result]) -> ModeDiagnosis:
    targets = [(p.load_ohm, p.target.value) for p in step.points()]
    load_ohm, target = np.array(targets).T
    measured = np.array(
        [(r.load_ohm, r.measured.value, r.measured.uncertainty) for r in results if r.measured]
    )
    loads, values, uncertainties = measured.T
    if step.power_w is None:
        target = (target / 1000) ** 2 * load_ohm
        uncertainties = 2 * values * uncertainties * loads / 1e6
        values = (values / 1000) ** 2 * loads
    limits = nominal_limits(load_ohm, target, step.setting_w)
    return ModeDiagnosis(
        step.mode, limits, diagnose(PowerCurve(loads, values, uncertainties), limits)
    )


def _expected_errors(
    procedure: Procedure, generator: GeneratorData, curves: Mapping[str, ModeDiagnosis]
) -> Iterator[tuple[AdjustStep, float | None, float]]:
    """Yield each adjust step, the relative error expected when its turn comes, and its sd.

    The error is None where no curve of the point's mode was diagnosed.
    """
    corrected: dict[str, frozenset[Sense]] = {}
    for step in procedure.steps_in("adjust"):
        if not isinstance(step, AdjustStep):
            continue
        point = generator.point(step.point)
        curve = None if point is None else curves.get(point.mode)
        if point is None or curve is None or point.sense is None:
            yield step, None, 0.0
            continue
        before = corrected.get(point.mode, frozenset())
        yield step, *curve.expected_error(step, before)
        corrected[point.mode] = before | {point.sense}


def _sense_gain(found: Diagnosis, sense: Sense) -> SenseGain:
    return SenseGain(
        sense=sense,
        gain=found.gain[sense],
        uncertainty=found.sd[sense],
        drifted=found.drifted[sense],
    )


def _first_move(step: AdjustStep, error: float, sd: float, prior: FleetPrior | None) -> FirstMove:
    """Return the counts to try first; None of them where no earlier unit taught the gain."""
    relative_tolerance = step.target_point().target.half_width / step.current_ma
    gain = None if prior is None else prior.gain_per_count()
    return FirstMove(
        point=step.point,
        step=step.name,
        off=error,
        uncertainty=sd,
        worthwhile=abs(error) > _WORTHWHILE_TOLERANCES * relative_tolerance,
        counts=None if gain is None else round(-error / gain),
    )
