"""Infers from the readings which presses were made that were asked for, and when.

Each thing that may have been done (`press_hypotheses`) foretells readings: those that the unit
would have given, and the step response of the presses. Its evidence is that of the readings since
the request, with level, gain and droop as uncertain as the fit before the request left them, and
the time of the first press averaged over what a person's reaction allows.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from math import log
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ohmwright.estimation.coefficients import COUNT, TRIM, Coefficient, combination, output_at
from ohmwright.estimation.mixture import weights
from ohmwright.estimation.point import Keys
from ohmwright.estimation.prior import TransientPrior
from ohmwright.estimation.transient_estimate import ActivationRecord, FitStart

from .actions import Press
from .press_evidence import LEAST_REACTION_S, PressTimes, ReadingsSince
from .press_hypotheses import (
    AS_BELIEVED,
    HowDone,
    PressesDone,
    Suspect,
    counts_of,
    what_may_be_done,
)

Floats = NDArray[np.float64]

_LONGEST_PRESS_S = 0.9
"""A further press comes so soon after the last, or not at all."""
_SHOWN_LAGS = 0.5
"""A press shows once its response has had so many lags."""
_BOUNCE_S = 0.4
"""A key that bounces is down again so soon; with a gain not known, nothing else can be told."""
_RISEN_LAGS = 2.5
"""More lags after which a new activation shows its level."""
_LOOK_S, _LOOK_AGAIN_S = 0.4, 1.0
"""Interval of looking, with presses awaited and for those that were made before RF came on."""
_SURE, _NOTHING = 0.97, 0.02
"""Probability from which on it is decided, and of nothing at all that makes it likely."""
_CLEAR, _LEAST_DOUBT = 0.8, 1e-6
"""Probability from which on an earlier cue is taken for another, and the least that is kept."""
_MAY_BE_NOTHING = 0.1
"""Probability of nothing with which nothing is to be seen, though presses may have done little."""
_BEGUN_LATE_S = 2.0
"""So long after a person should have pressed, the most probable is taken, too."""
_LATEST_S = 3.0
"""So long after the last press has shown, the most probable is taken, sure or not."""
_GAIN_KNOWN_SDS = 3.0
"""A gain so far from zero foretells what a press does."""
_LEVEL_SD = 0.0015
"""What droop and hunting may do to a level since the fit, relative to the target."""
_LEVEL_SD_BETWEEN = 0.003
"""The same from one activation to the next."""


class SeenPress(NamedTuple):
    """One press as the meter showed it: age of the activation, in s; down is -1."""

    age_s: float
    press: Press


@dataclass(frozen=True)
class PressesSeen:
    """What the meter showed of the presses that were asked for.

    `presses`: each with its age, 0 where they were made before RF came on; `probability`: that it
    was these; `told_apart`: whether the readings could tell them from any slip, which needs a gain
    that is known; `suspect`: what was really done at an earlier cue, where that shows now.
    """

    done: HowDone
    presses: tuple[SeenPress, ...]
    probability: float
    as_asked: float
    """Probability that all of it was done as asked, and what came before as believed."""
    told_apart: bool
    suspect: Suspect | None
    suspects: tuple[Suspect, ...]
    """What may be said of earlier cues after this one; empty where nothing is in doubt."""


@dataclass(frozen=True)
class _Case:
    """One hypothesis over a grid of press times: log evidence each, prior of the times included."""

    what: PressesDone
    suspect: Suspect
    log_evidence: Floats
    first_s: Floats
    spacing_s: Floats


class PressWatch:
    """Watches the readings for presses `asked`; the trim stands `pivot` counts from the origin.

    `prior`: of the coefficients before the presses; `cue_s`: age of the activation at the request,
    None where it was made, and done, with RF off before it; `suspects`: what may have been done at
    an earlier cue.
    """

    def __init__(
        self,
        asked: tuple[Press, ...],
        keys: Keys,
        prior: TransientPrior,
        position: tuple[int, int],
        cue_s: float | None,
        suspects: tuple[Suspect, ...] = (),
    ) -> None:
        self.asked, self.cue_s = asked, cue_s
        self._keys, self._position = keys, position
        self._suspects = suspects or (AS_BELIEVED,)
        level_sd = _LEVEL_SD if cue_s is not None else _LEVEL_SD_BETWEEN
        covariance = prior.covariance.copy()
        covariance[Coefficient.LEVEL, Coefficient.LEVEL] += level_sd**2
        self._prior = TransientPrior(prior.mean, covariance)
        self.gain_known = all(self._is_known(press.key) for press in asked)
        may_be_done = what_may_be_done(asked)
        self._cases = (
            may_be_done
            if self.gain_known
            else [each for each in may_be_done if each.done in ("as asked", "none")]
        )
        self._likely: list[tuple[float, _Case]] = []
        self._looked_s = -1.0

    def _is_known(self, key: str) -> bool:
        """Whether the gain of a key is so far from zero that it foretells what a press does."""
        gain = combination({Coefficient.GAIN: 1.0})
        if key == "coarse":
            gain = gain + combination({Coefficient.COARSE_PRESS: 1 / self._keys.coarse_counts})
        sd = float(np.sqrt(gain @ self._prior.covariance @ gain))
        return abs(float(gain @ self._prior.mean)) > _GAIN_KNOWN_SDS * sd

    def read(
        self, record: ActivationRecord, start: FitStart, correlation: float
    ) -> PressesSeen | None:
        """Return what was done once the readings of `record` decide it; None before that.

        `start`: dynamics and noise of the latest fit; `correlation`: of neighbouring readings.
        """
        now_s = float(record.age_s[-1])
        lag_s, dead_s, _ = np.exp(start.dynamics) if self.cue_s is None else start.move_times
        shown_s = float(dead_s + 0.6 * record.window_s + _SHOWN_LAGS * lag_s)
        begin_s, every_s = (
            (shown_s + _RISEN_LAGS * float(lag_s), _LOOK_AGAIN_S)
            if self.cue_s is None
            else (self.cue_s + LEAST_REACTION_S + shown_s, _LOOK_S)
        )
        if now_s < begin_s or now_s - self._looked_s < every_s:
            return None
        self._looked_s = now_s
        with suppress(np.linalg.LinAlgError):  # what cannot be weighed now may be later
            self._weigh(record, start, correlation)
        if not self._likely:
            return None
        if self.cue_s is None:
            return self._seen() if self._sure else None
        return self._seen() if self._is_over(now_s - shown_s) else None

    def _is_over(self, shown_until_s: float) -> bool:
        """Whether no more presses are to be expected; those until `shown_until_s` show by now."""
        assert self.cue_s is not None
        top = self._likely[0][1]
        late_s = shown_until_s - self.cue_s - self.longest_reaction_s
        if self._nothing > _MAY_BE_NOTHING or late_s > _BEGUN_LATE_S:
            return late_s > 0
        quiet_s = shown_until_s - self._last_press_s(top)
        if quiet_s < (_LONGEST_PRESS_S if self.gain_known else _BOUNCE_S):
            return False
        enough = self._sure or not self.gain_known or quiet_s > _LATEST_S
        return enough and self._nothing < _NOTHING

    @property
    def longest_reaction_s(self) -> float:
        """How long is waited for all the presses before nothing is taken to have been pressed."""
        return 5.0 + _LONGEST_PRESS_S * sum(abs(press.times) for press in self.asked)

    def at_the_end(self) -> PressesSeen | None:
        """Return the most probable by the readings so far; None where there were none."""
        return self._seen() if self._likely else None

    @property
    def _sure(self) -> bool:
        return self._likely[0][0] > _SURE

    @property
    def _nothing(self) -> float:
        """Probability that nothing was pressed."""
        return sum(p for p, case in self._likely if not case.what.presses)

    def _weigh(self, record: ActivationRecord, start: FitStart, correlation: float) -> None:
        """Find the probability of each case by the readings of `record`."""
        readings = ReadingsSince.since(self.cue_s, record, start, correlation)
        if readings is None:
            return
        cases = [
            self._case(readings, what, suspect)
            for suspect in self._suspects
            for what in self._cases
        ]
        share = weights(np.array([_log_sum(case.log_evidence) for case in cases]))
        self._likely = sorted(
            zip(share.tolist(), cases, strict=True), key=lambda each: each[0], reverse=True
        )

    def _case(self, readings: ReadingsSince, what: PressesDone, suspect: Suspect) -> _Case:
        """Return one case with its evidence over the times at which it may have been done."""
        prior = self._prior if suspect.gain_ratio == 1 else self._reinterpreted(suspect.gain_ratio)
        counts, coarse = self._position
        if self.cue_s is None:  # the level is foretold as if all had been done as asked
            asked_counts, asked_coarse = counts_of(self.asked, self._keys)
            counts, coarse = counts - asked_counts, coarse - asked_coarse
        done_counts, done_coarse = counts_of(what.presses, self._keys)
        reference = output_at(*self._position)
        change = (output_at(counts + done_counts, coarse + done_coarse) - reference)[TRIM]
        times = self._times(readings, what)
        evidence = readings.log_evidence(prior, times.shares, change)
        evidence = evidence + times.log_prior + log(what.probability * suspect.probability)
        return _Case(what, suspect, evidence, times.first_s, times.spacing_s)

    def _times(self, readings: ReadingsSince, what: PressesDone) -> PressTimes:
        """Return the times at which presses may have been made, and their responses."""
        number = sum(abs(press.times) for press in what.presses)
        if self.cue_s is None:
            return PressTimes.before_rf(readings)
        if number == 0:
            return PressTimes.not_yet(readings, readings.now_s - self.cue_s)
        return PressTimes.since_cue(readings, self.cue_s, number)

    def _reinterpreted(self, ratio: float) -> TransientPrior:
        """Return the prior if the true gain is `ratio` times the one that was learned.

        What was seen keeps its place: the output where the trim stands, or before presses with RF
        off stood.
        """
        counts, coarse = self._position
        if self.cue_s is None:
            asked_counts, asked_coarse = counts_of(self.asked, self._keys)
            counts, coarse = counts - asked_counts, coarse - asked_coarse
        change = np.eye(COUNT)
        for each in (Coefficient.GAIN, Coefficient.COARSE_PRESS, Coefficient.CURVATURE):
            change[each, each] = ratio
            change[Coefficient.LEVEL, each] = (1 - ratio) * output_at(counts, coarse)[each]
        return TransientPrior(change @ self._prior.mean, change @ self._prior.covariance @ change.T)

    def _last_press_s(self, case: _Case) -> float:
        presses = sum(abs(press.times) for press in case.what.presses)
        first_s, spacing_s = _mean_times(case)
        return first_s + (presses - 1) * spacing_s

    def _seen(self) -> PressesSeen:
        """Return the most probable case, and what it leaves in doubt.

        With RF on, what may be nothing is nothing: no press is taken for done that does not show.
        """
        doubts = self._doubts()
        believed = self._believed(doubts)
        probability, top = next(
            (p, case)
            for p, case in self._likely
            if case.suspect.gain_ratio == believed.gain_ratio
            and (self.cue_s is None or self._nothing <= _MAY_BE_NOTHING or not case.what.presses)
        )
        first_s, spacing_s = (0.0, 0.0) if self.cue_s is None else _mean_times(top)
        presses = tuple(
            SeenPress(first_s + n * spacing_s, press)
            for n, press in enumerate(_singly(top.what.presses))
        )
        sure = max(doubt.probability for doubt in doubts) > _SURE
        return PressesSeen(
            done=top.what.done,
            presses=presses,
            probability=probability,
            as_asked=sum(
                p
                for p, case in self._likely
                if case.what.done == "as asked" and case.suspect.gain_ratio == 1
            ),
            told_apart=probability > _SURE and (self.gain_known or not presses),
            suspect=None if believed.gain_ratio == 1 else believed,
            suspects=() if sure else doubts,
        )

    def _doubts(self) -> tuple[Suspect, ...]:
        """Return what may have been done at an earlier cue, with its probability by now."""
        doubts = []
        for suspect in self._suspects:
            chance = sum(p for p, case in self._likely if case.suspect is suspect)
            doubts.append(suspect._replace(probability=max(chance, _LEAST_DOUBT)))
        return tuple(doubts)

    def _believed(self, doubts: tuple[Suspect, ...]) -> Suspect:
        """Return what is taken to have been done at an earlier cue: as believed, unless it is
        clear that it was something else.
        """
        likeliest = max(doubts, key=lambda doubt: doubt.probability)
        return likeliest if likeliest.probability > _CLEAR else self._suspects[0]


def _singly(presses: tuple[Press, ...]) -> Iterator[Press]:
    for press in presses:
        for _ in range(abs(press.times)):
            yield Press(press.key, 1 if press.times > 0 else -1)


def _mean_times(case: _Case) -> tuple[float, float]:
    """Return the expected time of the first press, and from one to the next, of a case."""
    share = weights(case.log_evidence)
    return float(share @ case.first_s), float(share @ case.spacing_s)


def _log_sum(values: Floats) -> float:
    largest = float(np.max(values))
    return largest + log(float(np.sum(np.exp(values - largest))))
