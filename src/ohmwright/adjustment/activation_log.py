"""What happened in one activation: its readings and the steps that drove the output."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ohmwright.estimation.point import Question
from ohmwright.estimation.step_response import Steps
from ohmwright.estimation.transient_estimate import ActivationRecord

Floats = NDArray[np.float64]


class ActivationLog:
    """Readings and steps so far. `place`: where the trim stood; `heat`: droop left over, 0 to 1."""

    def __init__(self, question: Question, place: Floats, heat: float) -> None:
        self.question = question
        self.heat = heat
        self.moved_s = -np.inf
        self._age: list[float] = []
        self._value: list[float] = []
        self._step_at_s = [0.0]
        self._step_weights = [place]

    def note_reading(self, age_s: float, value: float) -> None:
        """A reading that ended at its age."""
        self._age.append(age_s)
        self._value.append(value)

    def note_step(self, age_s: float, change: Floats) -> None:
        """The trim moved: what changed in level, counts, coarse presses, curvature."""
        self._step_at_s.append(age_s)
        self._step_weights.append(change)
        self.moved_s = age_s

    @property
    def undisturbed(self) -> bool:
        """Whether the trim has stayed where it was."""
        return len(self._step_at_s) == 1

    @property
    def undisturbed_s(self) -> float:
        """Time from the latest step, switching on included, to the latest reading."""
        return self._age[-1] - self._step_at_s[-1] if self._age else 0.0

    @property
    def readings(self) -> tuple[Floats, Floats]:
        """Ages and values, shape (n,) each."""
        return np.array(self._age), np.array(self._value)

    def record(self) -> ActivationRecord:
        """All of it relative to the target, for the estimator."""
        age_s, value = self.readings
        target = self.question.target
        return ActivationRecord(
            age_s=age_s,
            relative=value / target,
            steps=Steps(np.array(self._step_at_s), np.array(self._step_weights)),
            window_s=self.question.window_s,
            resolution=self.question.resolution / target,
            at_age_s=self.question.at_age_s,
            heat=self.heat,
        )
