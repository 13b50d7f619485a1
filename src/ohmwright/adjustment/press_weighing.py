"""Which presses a person made after a request, as probabilities from the readings since.

Each hypothesis predicts the readings: the output without presses, plus the step response of its
presses. It is weighed by its marginal likelihood, with level, gain and droop as uncertain as the
fit before the request left them, averaged over the times at which a person may have pressed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import log
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ohmwright.estimation.activation_record import ActivationRecord, FitStart
from ohmwright.estimation.coefficients import COUNT, TRIM, Coefficient, combination, output_at
from ohmwright.estimation.mixture import weights
from ohmwright.estimation.prior import TransientPrior

from .actions import Press
from .point import Keys
from .press_evidence import PressTimes, ReadingsSince
from .press_hypotheses import AS_BELIEVED, PressesDone, Suspect, counts_of, what_may_be_done

Floats = NDArray[np.float64]

_GAIN_KNOWN_SDS = 2.0
"""A gain counts as known if it lies more standard deviations than this from zero."""
_LEVEL_SD = 0.0015
"""Standard deviation by which droop and hunting change the level after the fit, relative to the
target, within one activation."""
_LEVEL_SD_BETWEEN = 0.003
"""Standard deviation by which the level changes from one activation to the next, relative to the
target."""


@dataclass(frozen=True)
class PressRequest:
    """A request for presses.

    `position`: counts of the trim from its origin, and coarse presses among them, when readings
    begin; `cue_s`: age of the activation at the request, None where the presses were made before
    it, with RF off, and are part of `position`; `suspects`: what may have been done at an earlier
    cue.
    """

    asked: tuple[Press, ...]
    keys: Keys
    position: tuple[int, int]
    cue_s: float | None
    suspects: tuple[Suspect, ...] = ()


@dataclass(frozen=True)
class PressCase:
    """One hypothesis of what was done now, and at an earlier cue, over a grid of b press times.

    `log_evidence` (b,): logarithm of marginal likelihood times prior, at each time; `first_s` (b,):
    age of the activation at the first press; `spacing_s` (b,): time from one press to the next.
    """

    what: PressesDone
    suspect: Suspect
    log_evidence: Floats
    first_s: Floats
    spacing_s: Floats

    @property
    def mean_times(self) -> tuple[float, float]:
        """Expected age of the activation at the first press, and time from one to the next."""
        share = weights(self.log_evidence)
        return float(share @ self.first_s), float(share @ self.spacing_s)

    @property
    def last_press_s(self) -> float:
        """Expected age of the activation at the last press; of a case with presses alone."""
        presses = sum(abs(press.times) for press in self.what.presses)
        first_s, spacing_s = self.mean_times
        return first_s + (presses - 1) * spacing_s


class PredictedOutput(NamedTuple):
    """An output as foretold: expected value and standard deviation, as parts of the target."""

    mean: float
    sd: float


class PressWeighing:
    """The hypotheses of one request, weighed by `weigh`; `prior`: of the coefficients before it."""

    def __init__(self, request: PressRequest, prior: TransientPrior) -> None:
        self._keys, self._position = request.keys, request.position
        self.cue_s, self.asked = request.cue_s, request.asked
        self.suspects = request.suspects or (AS_BELIEVED,)
        level_sd = _LEVEL_SD if self.cue_s is not None else _LEVEL_SD_BETWEEN
        covariance = prior.covariance.copy()
        covariance[Coefficient.LEVEL, Coefficient.LEVEL] += level_sd**2
        self._prior = replace(prior, covariance=covariance)
        self.gain_known = all(self._is_known(press.key) for press in self.asked)
        # without a gain nothing tells one press from another: only whether there were any
        self._hypotheses = [
            each
            for each in what_may_be_done(self.asked)
            if self.gain_known or each.done in ("as asked", "none")
        ]
        self.likely: list[tuple[float, PressCase]] = []
        """Probability of each hypothesis, the most probable first; empty without readings."""

    def _is_known(self, key: str) -> bool:
        """Whether the gain of a key is so far from zero that a press has a predictable effect."""
        gain = combination({Coefficient.GAIN: 1.0})
        if key == "coarse":
            gain = gain + combination({Coefficient.COARSE_PRESS: 1 / self._keys.coarse_counts})
        sd = float(np.sqrt(gain @ self._prior.covariance @ gain))
        return abs(float(gain @ self._prior.mean)) > _GAIN_KNOWN_SDS * sd

    @property
    def predicted(self) -> PredictedOutput:
        """The output that presses as asked would give."""
        asked = (0, 0) if self.cue_s is None else counts_of(self.asked, self._keys)
        output = output_at(*(at + more for at, more in zip(self._position, asked, strict=True)))
        sd = float(np.sqrt(output @ self._prior.covariance @ output))
        return PredictedOutput(float(output @ self._prior.mean), sd)

    @property
    def nothing(self) -> float:
        """Probability that nothing was pressed; to be asked once there are readings."""
        return sum(p for p, case in self.likely if not case.what.presses)

    @property
    def other_sign(self) -> float:
        """How much likelier the readings are if the gain has the other sign than as believed.

        With that sign, presses as asked would do what is believed of the other direction; so the
        likelihoods of these two are compared.
        """
        likelihood = dict.fromkeys(("as asked", "other direction"), 1e-12)
        for p, case in self.likely:
            if case.what.done in likelihood and case.suspect.gain_ratio == 1:
                evidence = p / case.what.probability
                likelihood[case.what.done] = max(likelihood[case.what.done], evidence)
        return likelihood["other direction"] / likelihood["as asked"]

    def chance_of(self, suspect: Suspect) -> float:
        """Return the probability of `suspect`, one of `suspects`."""
        return sum(p for p, case in self.likely if case.suspect is suspect)

    def weigh(self, record: ActivationRecord, start: FitStart, correlation: float) -> None:
        """Find the probability of each hypothesis from the readings of `record`."""
        readings = ReadingsSince.since(self.cue_s, record, start, correlation)
        if readings is None:
            return
        cases = [
            self._case(readings, each, suspect)
            for suspect in self.suspects
            for each in self._hypotheses
        ]
        share = weights(np.array([_log_sum(case.log_evidence) for case in cases]))
        self.likely = sorted(
            zip(share.tolist(), cases, strict=True), key=lambda each: each[0], reverse=True
        )

    def _case(
        self, readings: ReadingsSince, hypothesis: PressesDone, suspect: Suspect
    ) -> PressCase:
        """Return a hypothesis with its evidence at each time at which it may have been done."""
        prior = self._prior if suspect.gain_ratio == 1 else self._reinterpreted(suspect.gain_ratio)
        counts, coarse = self._position_before
        done_counts, done_coarse = counts_of(hypothesis.presses, self._keys)
        reference = output_at(*self._position)
        change = (output_at(counts + done_counts, coarse + done_coarse) - reference)[TRIM]
        times = self._times(readings, hypothesis)
        evidence = readings.log_evidence(prior, times.shares, change)
        evidence = evidence + times.log_prior + log(hypothesis.probability * suspect.probability)
        return PressCase(hypothesis, suspect, evidence, times.first_s, times.spacing_s)

    @property
    def _position_before(self) -> tuple[int, int]:
        """Where the trim stood before the presses: counts, and coarse presses among them."""
        counts, coarse = self._position
        if self.cue_s is not None:
            return counts, coarse
        asked_counts, asked_coarse = counts_of(self.asked, self._keys)
        return counts - asked_counts, coarse - asked_coarse

    def _times(self, readings: ReadingsSince, hypothesis: PressesDone) -> PressTimes:
        """Return the times at which presses may have been made, and their responses."""
        number = sum(abs(press.times) for press in hypothesis.presses)
        if self.cue_s is None:
            return PressTimes.before_rf(readings)
        if number == 0:
            return PressTimes.not_yet(readings, readings.now_s - self.cue_s)
        return PressTimes.since_cue(readings, self.cue_s, number)

    def _reinterpreted(self, ratio: float) -> TransientPrior:
        """Return the prior if the true gain is `ratio` times the one that was learned.

        The output where the trim stood before the presses was seen, and stays as it is.
        """
        before = output_at(*self._position_before)
        change = np.eye(COUNT)
        for each in (Coefficient.GAIN, Coefficient.COARSE_PRESS, Coefficient.CURVATURE):
            change[each, each] = ratio
            change[Coefficient.LEVEL, each] = (1 - ratio) * before[each]
        mean, covariance = change @ self._prior.mean, change @ self._prior.covariance @ change.T
        return replace(self._prior, mean=mean, covariance=covariance)


def _log_sum(values: Floats) -> float:
    """Return the logarithm of the sum of the exponentials of `values`, without an overflow."""
    largest = float(np.max(values))
    return largest + log(float(np.sum(np.exp(values - largest))))
