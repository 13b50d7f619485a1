"""The readings of one activation, and the steps that drove its output."""

from __future__ import annotations

from itertools import pairwise
from statistics import median

import numpy as np
from numpy.typing import NDArray

from ohmwright.estimation.activation_record import ActivationRecord, Question
from ohmwright.estimation.coefficients import Coefficient, Steps

Floats = NDArray[np.float64]


class ActivationLog:
    """Readings and steps of one activation so far.

    `position` (4,): factors of the trim's coefficients where it stands when RF comes on; `heat`:
    warmth at the start, 0 rested to 1 warm through.
    """

    def __init__(self, question: Question, position: Floats, heat: float) -> None:
        self.question = question
        self.heat = heat
        self.moved_s = -np.inf
        """Age at the latest move; minus infinity before the first."""
        self._age: list[float] = []
        self._value: list[float] = []
        self._step_at_s = [0.0]
        self._step_weights = [position]

    def note_reading(self, age_s: float, value: float) -> None:
        """Add a reading, the mean over the meter's window that ended at `age_s`."""
        self._age.append(age_s)
        self._value.append(value)

    def note_step(self, age_s: float, change: Floats) -> None:
        """Add a move of the trim, `change` (4,) of the factors of its coefficients."""
        self._step_at_s.append(age_s)
        self._step_weights.append(change)
        self.moved_s = age_s

    @property
    def steps(self) -> int:
        """Number of steps so far, switching on included."""
        return len(self._step_at_s)

    @property
    def moves(self) -> list[tuple[float, int]]:
        """Age of each step, s, switching on included, and by how many counts it moved the trim."""
        counts = [round(float(weights[Coefficient.GAIN])) for weights in self._step_weights]
        return [*zip(self._step_at_s, counts, strict=True)]

    def correct_step(self, step: int, counts: int, coarse: int) -> None:
        """Correct a step by counts and coarse presses that were not noted."""
        weights = self._step_weights[step].copy()
        weights[Coefficient.GAIN] += counts
        weights[Coefficient.COARSE_PRESS] += coarse
        self._step_weights[step] = weights

    @property
    def undisturbed(self) -> bool:
        """Whether the trim has not been moved in this activation."""
        return len(self._step_at_s) == 1

    @property
    def undisturbed_s(self) -> float:
        """Time from the latest step, switching on included, to the latest reading."""
        return self._age[-1] - self._step_at_s[-1] if self._age else 0.0

    @property
    def latest_s(self) -> float:
        """Age at the latest reading, s; 0 before the first."""
        return self._age[-1] if self._age else 0.0

    @property
    def interval_s(self) -> float:
        """Median time from one reading to the next, s; 0 while there are not two."""
        if len(self._age) < 2:
            return 0.0
        return median(later - age_s for age_s, later in pairwise(self._age))

    @property
    def latest(self) -> float:
        """The latest reading, relative to the target."""
        return self._value[-1] / self.question.target

    @property
    def highest(self) -> float:
        """The highest reading so far, relative to the target."""
        return max(self._value) / self.question.target

    @property
    def readings(self) -> tuple[Floats, Floats]:
        """Ages, s, and values, unit of the readings, shape (n,) each."""
        return np.array(self._age), np.array(self._value)

    def record(self) -> ActivationRecord:
        """All readings relative to the target, and the steps, as the estimator takes them."""
        steps = Steps(np.array(self._step_at_s), np.array(self._step_weights))
        return ActivationRecord.of(self.question, *self.readings, steps, self.heat)
