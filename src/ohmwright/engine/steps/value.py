"""The step kind `value`: a figure of another instrument, as of an electrical-safety test."""

from __future__ import annotations

from collections.abc import Mapping
from math import inf
from typing import Literal

from pydantic import model_validator

from ohmwright.engine.answered_step import AnsweredStep
from ohmwright.instruments.answer_requests import BeSureOfFigure, TypedFigure, TypeFigure
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.hardware import NotNegative, Positive
from ohmwright.model.quantity import Quantity
from ohmwright.model.result import AMPLE_DOF, Measured, Result
from ohmwright.model.step import Name
from ohmwright.model.tolerance import Target, at_least, at_most


class ValueStep(AnsweredStep):
    """A figure that another instrument shows, compared with one limit or two.

    Its uncertainty is that of the other instrument, which nobody states here.
    """

    kind: Literal["value"]
    quantity: Quantity
    """What the figure is of; ends with its unit: `earth_resistance_ohm`, `earth_leakage_ua`."""
    at_least: NotNegative | None = None
    at_most: Positive | None = None
    measured_by: Name | None = None
    """The `text` or `choice` step before it whose answer names the instrument."""

    @model_validator(mode="after")
    def _limits_fit(self) -> ValueStep:
        low, high = self.at_least, self.at_most
        if low is None and high is None:
            raise ValueError("give at_least, at_most or both; a note without limits is a text")
        if low is not None and high is not None and low >= high:
            raise ValueError("at_least must be less than at_most")
        if high is None and low == 0:
            raise ValueError("at_least = 0 alone is no limit")
        return self

    @classmethod
    def is_covered_by(cls, certificate: AnalyzerCertificate) -> bool:  # noqa: ARG003
        """Return whether an analyzer certificate may say something of what it measures."""
        return False

    def stated_targets(self) -> Mapping[str, Target]:
        """Return the limits of the answer."""
        return dict.fromkeys(self.point_names(), self.target)

    @property
    def target(self) -> Target:
        """The limits; midway between two of them as the value aimed at."""
        low, high = self.at_least, self.at_most
        if low is None and high is not None:
            return at_most(self.quantity, high)
        if low is not None and high is None:
            return at_least(self.quantity, low)
        assert low is not None  # as the validator saw to
        assert high is not None
        return Target(quantity=self.quantity, value=(low + high) / 2, lower=low, upper=high)

    def request(self, *, rf_follows: bool) -> TypeFigure:
        """Return the request for the figure."""
        return TypeFigure(self.prompt, self.target, rf_follows)

    def to_be_sure(self, said: str) -> BeSureOfFigure | None:
        """Return the question about a figure far beyond its limit; None for any other."""
        return self.request(rf_follows=False).to_be_sure(said)

    def instrument_named_by(self) -> str | None:
        """Return the step before it that asks for the instrument."""
        return self.measured_by

    def judged(self, said: str, result: Result) -> Result:
        """Return `result` with the typed figure and its verdict; no guard band, no budget."""
        typed = self.request(rf_follows=False).typed(said)
        assert typed is not None  # as the request saw to
        measured = Measured(
            quantity=self.quantity,
            value=typed.value,
            uncertainty=0.0,
            dof=AMPLE_DOF,
            age_s=0.0,
            left_out=("accuracy of the instrument that a person read",),
        )
        return result.model_copy(
            update={
                "verdict": "pass" if self._passes(typed) else "fail",
                "target": self.target,
                "measured": measured,
                "traceability": "another instrument",
            }
        )

    def _passes(self, typed: TypedFigure) -> bool:
        low = 0.0 if self.at_least is None else self.at_least
        high = inf if self.at_most is None else self.at_most
        return low <= typed.value <= high
