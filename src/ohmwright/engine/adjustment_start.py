"""From the as-found power curves to what each adjustment begins with."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from ohmwright.adjustment.fleet_prior import FleetPrior
from ohmwright.estimation.point import Expected
from ohmwright.estimation.power_curve_diagnosis import (
    SENSES,
    Curve,
    Diagnosis,
    OutputLimits,
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
_UNSEEN = 0.003
"""What an expected current may be wrong by besides, relative: load and law differ a little."""
_NEAR = 0.5
"""A point expected farther off than this part of its tolerance is worth adjusting."""


@dataclass(frozen=True)
class Diagnosed:
    """One mode's curve, read."""

    mode: str
    limits: OutputLimits
    found: Diagnosis

    def expected(self, step: AdjustStep, mended: frozenset[Sense]) -> tuple[float, float]:
        """Relative error of the current at a step's load, and its standard uncertainty.

        `mended`: senses that steps before it have brought back to true.
        """
        gains = np.array([1.0 if s in mended else self.found.gain[s] for s in SENSES])
        here = self._current(step.load_ohm, gains)
        off = here / self._current(step.load_ohm, np.ones(3)) - 1
        spread = [_UNSEEN]
        for i, sense in enumerate(SENSES):
            moved = gains.copy()
            moved[i] += self.found.sd[sense]
            spread.append(self._current(step.load_ohm, moved) / here - 1)
        return off, float(np.linalg.norm(spread))

    def _current(self, load_ohm: float, gains: np.ndarray) -> float:
        return float(np.sqrt(self.limits.power(np.array([load_ohm]), gains)[0] / load_ohm))


def priors_of_points(
    procedure: Procedure,
    generator: GeneratorData,
    found: Sequence[Result],
    fleet: Mapping[str, FleetPrior],
) -> dict[str, PriorOfPoint]:
    """What is known of each adjust step, by its name."""
    known: dict[str, PriorOfPoint] = {}
    curves = {each.mode: each for each in diagnosed(procedure, found)}
    for step, off, sd in _offs(procedure, generator, curves):
        expected = (
            None if off is None else Expected(step.current_ma * (1 + off), step.current_ma * sd)
        )
        known[step.name] = PriorOfPoint(fleet.get(step.point), expected)
    return known


def diagnoses(
    session: Session,
    procedure: Procedure,
    found: Sequence[Result],
    known: Mapping[str, PriorOfPoint],
) -> Iterator[CurveDiagnosed]:
    """An event for each mode whose as-found curve could be read."""
    generator = session.bench.generator.data
    for curve in diagnosed(procedure, found):
        yield CurveDiagnosed(
            **session.stamp(),
            mode=curve.mode,
            gains=tuple(
                SenseGain(
                    sense=sense,
                    gain=curve.found.gain[sense],
                    uncertainty=curve.found.sd[sense],
                    drifted=curve.found.drifted[sense],
                )
                for sense in SENSES
            ),
            culprit=curve.found.culprit,
            misfit=curve.found.misfit,
            first_moves=tuple(
                _first_move(step, off, sd, known[step.name].prior)
                for step, off, sd in _offs(procedure, generator, {curve.mode: curve})
                if off is not None
            ),
        )


def diagnosed(procedure: Procedure, found: Sequence[Result]) -> Iterator[Diagnosed]:
    """Each mode with an as-found power curve over loads enough."""
    for step in procedure.steps_in("as_found"):
        if isinstance(step, PowerCurveStep):
            results = [
                r for r in found if (r.stage, r.step) == ("as_found", step.name) and r.measured
            ]
            if len(results) >= _FEWEST_LOADS:
                yield _diagnosed(step, results)


def _diagnosed(step: PowerCurveStep, results: Sequence[Result]) -> Diagnosed:
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
    return Diagnosed(step.mode, limits, diagnose(Curve(loads, values, uncertainties), limits))


def _offs(
    procedure: Procedure, generator: GeneratorData, curves: Mapping[str, Diagnosed]
) -> Iterator[tuple[AdjustStep, float | None, float]]:
    """Each adjust step with the error expected when its turn comes; None where no curve tells."""
    mended: dict[str, frozenset[Sense]] = {}
    for step in procedure.steps_in("adjust"):
        if not isinstance(step, AdjustStep):
            continue
        point = generator.point(step.point)
        curve = None if point is None else curves.get(point.mode)
        if point is None or curve is None or point.sense is None:
            yield step, None, 0.0
            continue
        before = mended.get(point.mode, frozenset())
        yield step, *curve.expected(step, before)
        mended[point.mode] = before | {point.sense}


def _first_move(step: AdjustStep, off: float, sd: float, prior: FleetPrior | None) -> FirstMove:
    half = step.target_point().target.half_width / step.current_ma
    gain = None if prior is None else prior.gain_per_count()
    return FirstMove(
        point=step.point,
        step=step.name,
        off=off,
        uncertainty=sd,
        worthwhile=abs(off) > _NEAR * half,
        counts=None if gain is None else round(-off / gain),
    )
