"""Moves by a person's keys for which RF goes off: which presses, and when RF may go off."""

from __future__ import annotations

from ohmwright.adjustment.point import PointSpec

from .actions import Action, Press
from .activation_log import ActivationLog
from .decision import AdjustmentDecision
from .findings import Findings
from .parameters import Parameters
from .step_sizing import FINE_GAIN, StepSizer
from .trim import Trim
from .unit_estimator import UnitEstimator


class PressesWithRfOff:
    """The presses of one point that are made between two activations."""

    def __init__(
        self,
        spec: PointSpec,
        parameters: Parameters,
        trim: Trim,
        sizer: StepSizer,
        estimator: UnitEstimator,
        findings: Findings,
    ) -> None:
        self._spec, self._parameters = spec, parameters
        self._trim, self._sizer, self._estimator = trim, sizer, estimator
        self._findings = findings

    def wait_for_rf_off(
        self, decision: AdjustmentDecision, log: ActivationLog, *, refuted: bool
    ) -> bool:
        """Return whether a move is by keys whose gain is known: RF does not wait for hands then.

        Where the output was not where that gain had brought it (`refuted`), the next coarse presses
        are made with RF on, so that they show what they do.
        """
        if self._spec.keys is None or not decision.gain_known:
            return False
        shows = isinstance(decision.move, Press) and decision.move.key == "coarse"
        return not (refuted and shows and log.undisturbed)

    def of_move(self, move: Action) -> list[Action]:
        """Return the actions of a move.

        Coarse presses come with the fine ones for the rest: nothing will be seen in between.
        """
        actions, fit = self._findings.with_run_up(move), self._estimator.latest_fit
        if fit is None or not isinstance(move, Press) or move.key != "coarse":
            return actions
        output = fit.combination(self._trim.output_after(move))
        fine = self._sizer.fine_after(move, output, fit.combination(FINE_GAIN))
        return actions if fine is None else [*actions, fine]

    def are_due(self, presses: list[Action], age_s: float, log: ActivationLog) -> bool:
        """Return whether RF may go off for `presses` at `age_s`.

        It may once they will probably land in tolerance, or once the last presses have shown all
        that they do.
        """
        fit, releasing = self._estimator.latest_fit, self._parameters.releasing
        if fit is None:
            return False
        output = fit.combination(self._trim.output_after_all(presses))
        tolerance = self._sizer.tolerance
        lands = output.probability_between(1 - tolerance, 1 + tolerance)
        shown_s = self._estimator.visible_after_s(fit, releasing.by_hand_lags)
        return lands > releasing.by_hand_probability or age_s - log.moved_s > shown_s
