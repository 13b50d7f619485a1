"""Accuracy of an analyzer's readings: the certificate's figures and stated effects, as inputs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from datetime import date

from ohmwright.model.analyzer_certificate import AnalyzerCertificate, Drift, Influences
from ohmwright.model.hardware import Mode
from ohmwright.model.quantity import Quantity
from ohmwright.uncertainty.inputs import Correlations, Input, accuracy_input, rectangular

from .influences import Conditions, Effect, current_effects, lacking, load_effects

METER, LOAD = "meter accuracy", "load resistance"
"""Labels of the lines that only a certificate gives."""
_RECONNECTION = "reconnection"
_DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class Accuracy:
    """Accuracy of an analyzer's readings on one day, by its certificate, at stated conditions."""

    certificate: AnalyzerCertificate
    on: date
    """The day; drift counts from the certificate's date to it."""
    conditions: Conditions = field(default_factory=Conditions)

    def in_mode(self, mode: Mode | None) -> Accuracy:
        """Return the accuracy for the output of `mode`; None where the data know no such mode."""
        if mode is None:
            return self
        at = replace(self.conditions, mode=mode.name, carrier_hz=mode.carrier_hz)
        return replace(self, conditions=at)

    def current_lines(self, current_ma: float, load_ohm: float) -> tuple[Input, ...]:
        """Return the inputs for accuracy and effects at a reading, in mA about zero."""
        stated, size_ma = self.certificate.range_of(current_ma), abs(current_ma)
        accuracy_ma = size_ma * stated.percent / 100 + stated.floor_ma
        shared = self._shared(f"{METER} to {stated.up_to_ma:g} mA")
        return (
            self._accuracy_input(METER, accuracy_ma, stated.coverage_factor, shared),
            *self._effect_lines(self.current_effects(load_ohm), size_ma),
            *self._reconnection_line(size_ma),
        )

    def load_lines(self, load_ohm: float) -> tuple[Input, ...]:
        """Return the inputs for the load's accuracy and effects, in ohm about zero."""
        stated = self.certificate.load
        accuracy_ohm = load_ohm * stated.percent / 100
        shared = self._shared(f"{LOAD} {load_ohm:g} ohm")
        return (
            self._accuracy_input(LOAD, accuracy_ohm, stated.coverage_factor, shared),
            *self._effect_lines(self.load_effects(load_ohm), load_ohm),
        )

    def current_effects(self, load_ohm: float) -> tuple[Effect, ...]:
        """Return the effects on a current into `load_ohm`, those without data among them."""
        known = self.certificate
        return current_effects(
            known.drift, known.influences, self.conditions, load_ohm, self._years
        )

    def load_effects(self, load_ohm: float) -> tuple[Effect, ...]:
        """Return the effects on a load resistance, those without data among them."""
        known = self.certificate
        return load_effects(known.drift, known.influences, self.conditions, load_ohm, self._years)

    @property
    def correlations(self) -> Correlations | None:
        """Correlation of meter and load accuracy; None where the certificate states none."""
        return (
            {(METER, LOAD): self.certificate.current_load_correlation}
            if self._is_correlated
            else None
        )

    def resolution_ma(self, current_ma: float) -> float:
        """Return the value of the last digit of a reading, in mA."""
        return self.certificate.range_of(current_ma).resolution_ma

    @property
    def _is_correlated(self) -> bool:
        return self.certificate.current_load_correlation != 0

    @property
    def _years(self) -> float:
        return max(0.0, (self.on - self.certificate.calibrated_on).days / _DAYS_A_YEAR)

    def _shared(self, error: str) -> str:
        return f"{error}, {self.certificate.number}"

    def _effect_lines(self, effects: Iterable[Effect], size: float) -> Iterator[Input]:
        for effect in effects:
            if effect.limit is not None:
                shared = self._shared(" ".join(filter(None, (effect.name, effect.same_in))))
                yield rectangular(effect.name, 0.0, size * effect.limit, shared)

    def _reconnection_line(self, size_ma: float) -> Iterator[Input]:
        known = self.certificate.influences
        if known.reconnection_percent is not None and known.reconnections is not None:
            u_ma, dof = size_ma * known.reconnection_percent / 100, known.reconnections - 1.0
            yield Input(_RECONNECTION, 0.0, u_ma, dof, "student t")

    def _accuracy_input(
        self, label: str, accuracy: float, coverage_factor: float | None, shared: str
    ) -> Input:
        """Return an accuracy as an input; one that is correlated as normal, to be drawn so."""
        known = accuracy_input(label, accuracy, coverage_factor, shared)
        return replace(known, distribution="normal") if self._is_correlated else known


def left_out(quantity: Quantity, load_ohm: float, accuracy: Accuracy | None) -> tuple[str, ...]:
    """Return the names of the effects that a budget of `quantity` lacks, for want of data."""
    power = quantity == "power_w"
    if accuracy is None:
        nothing = (Drift(), Influences(), Conditions(), load_ohm, 0.0)
        meter, load = (METER, *lacking(current_effects(*nothing))), lacking(load_effects(*nothing))
        return (*meter, _RECONNECTION, *((LOAD, *load) if power else ()))
    reconnected = accuracy.certificate.influences.reconnections is not None
    return (
        *lacking(accuracy.current_effects(load_ohm)),
        *(() if reconnected else (_RECONNECTION,)),
        *(lacking(accuracy.load_effects(load_ohm)) if power else ()),
    )
