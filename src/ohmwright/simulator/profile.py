"""Profiles of invented hardware: the data its owner would know, and the physics behind it.

A range `[low, high]` is what units of a model vary over; each unit draws its value from its seed.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field, model_validator

from ohmwright.model.base import FrozenModel
from ohmwright.model.hardware import (
    AnalyzerData,
    GeneratorData,
    Mode,
    NotNegative,
    Positive,
    ServicePoint,
)


def _in_order(limits: tuple[float, float]) -> tuple[float, float]:
    if limits[0] > limits[1]:
        raise ValueError(f"the range {limits} runs backwards")
    return limits


Part = Annotated[float, Field(ge=-1, le=1)]
Range = Annotated[tuple[Part, Part], AfterValidator(_in_order)]
PositiveRange = Annotated[tuple[Positive, Positive], AfterValidator(_in_order)]
NotNegativeRange = Annotated[tuple[NotNegative, NotNegative], AfterValidator(_in_order)]
Share = Annotated[float, Field(ge=0, le=1)]
Sense = Literal["current", "voltage", "phase"]


class Sine(FrozenModel):
    """A continuous sine."""

    kind: Literal["sine"]
    carrier_hz: Positive


class GatedSine(FrozenModel):
    """A sine that is on for the share `duty` of every repetition."""

    kind: Literal["gated sine"]
    carrier_hz: Positive
    repetition_hz: Positive
    duty: Annotated[float, Field(gt=0, le=1)]


class DampedSine(FrozenModel):
    """A decaying sine that starts anew every repetition."""

    kind: Literal["damped sine"]
    carrier_hz: Positive
    repetition_hz: Positive
    decay_per_s: Positive


Waveform = Annotated[Sine | GatedSine | DampedSine, Field(discriminator="kind")]


class ModePhysics(FrozenModel):
    """The output stage in one mode."""

    name: str
    max_current_ma: Positive
    max_voltage_v: Positive
    corner: Annotated[float, Field(ge=2, le=40)] = 8.0
    waveform: Waveform
    leakage_ma: NotNegativeRange = (0.0, 0.0)
    """HF leakage at full setting into the analyzer's measuring resistance."""


class PointPhysics(FrozenModel):
    """The effect of the trim of one adjustment point."""

    name: str
    sense: Sense
    load_ohm: Positive
    """The load resistance it is meant to be adjusted at, at the mode's full setting."""
    ma_per_count: NotNegativeRange
    """Size of a count there on a true unit; its sign is drawn too. 0 is a dead trim."""
    curvature: Range = (-0.2, 0.2)
    """How much of its size a count gains or loses, at most, far (100 counts) from the start."""
    start_counts: tuple[int, int] = (-40, 40)
    """Where the factory left it."""
    coupling: dict[str, Part] = Field(default_factory=dict)
    """Cross-coupling of its trim: for each other point named, the share of its own relative effect
    that it has on that point's sense gain."""


class Response(FrozenModel):
    """The response of the output within an activation."""

    dead_s: NotNegativeRange
    lag_s: PositiveRange
    second_lag: NotNegativeRange
    """The second lag as a share of the first."""
    droop: NotNegativeRange
    """Relative loss of output when warm through."""
    droop_tau_s: PositiveRange
    recovery_tau_s: PositiveRange
    noise: NotNegativeRange
    """Relative standard deviation of AR(1) noise, as it is left after the meter's window."""
    noise_correlation_s: PositiveRange
    """Time in which its autocorrelation falls to 1/e."""
    hunting_share: Share = 0.0
    """Share of units that hunt."""
    hunting: NotNegativeRange = (0.0, 0.0)
    hunting_period_s: PositiveRange = (4.0, 12.0)


class Ageing(FrozenModel):
    """The drift of one sense gain, as changes of its natural logarithm."""

    start: Range = (0.0, 0.0)
    creep_per_month: Range = (0.0, 0.0)
    wander_per_month: NotNegative = 0.0
    """Standard deviation of the random walk after one month."""


class AgeingPhysics(FrozenModel):
    """The drift of the three sense gains."""

    current: Ageing = Ageing()
    voltage: Ageing = Ageing()
    phase: Ageing = Ageing()


class MonitorPhysics(FrozenModel):
    """The contact quality monitor."""

    alarm_ohm: PositiveRange
    hysteresis_ohm: NotNegativeRange = (0.0, 0.0)
    response_s: NotNegative = 0.3


class GeneratorPhysics(FrozenModel):
    """The physics of a generator model."""

    response: Response
    ageing: AgeingPhysics = AgeingPhysics()
    modes: tuple[ModePhysics, ...] = Field(min_length=1)
    points: tuple[PointPhysics, ...] = ()
    coarse_counts: tuple[int, int] = (8, 12)
    """What a press of the coarse key really moves; each unit has its own."""
    contact_quality: MonitorPhysics | None = None


class GeneratorProfile(FrozenModel):
    """A generator model: data and physics."""

    data: GeneratorData
    physics: GeneratorPhysics

    @model_validator(mode="before")
    @classmethod
    def _can_be_simulated(cls, given: object) -> object:
        if isinstance(given, dict) and "physics" not in given:
            raise ValueError(
                "it has no table [physics], by which a simulated bench computes the output, and a "
                "real bench needs none; 'ohmwright guide generators' says under Simulated units "
                "how to get one"
            )
        return given

    @model_validator(mode="after")
    def _physics_fits_data(self) -> GeneratorProfile:
        service = self.data.service
        _same_names("modes", self.data.modes, self.physics.modes)
        _same_names("points", () if service is None else service.points, self.physics.points)
        known = {point.name for point in self.physics.points}
        for point in self.physics.points:
            if not point.coupling.keys() <= known - {point.name}:
                raise ValueError(f"coupling of '{point.name}' must name other points of the unit")
        if self.data.contact_quality_monitor != (self.physics.contact_quality is not None):
            raise ValueError("contact_quality_monitor and physics.contact_quality must agree")
        return self


class BankPhysics(FrozenModel):
    """The load bank of a model."""

    tolerance: NotNegative = 0.002
    """Largest relative error of a step."""
    inductance_uh: NotNegativeRange = (0.0, 0.0)
    heat_drift: Range = (0.0, 0.0)
    """Relative change of resistance at the temperature the rated duty leads to."""
    thermal_tau_s: Positive = 180.0
    trip_heat: Positive = 1.6
    """Temperature rise at which the bank trips; 1 is what the rated duty leads to in the mean."""
    trip_power: Positive = 1.25
    """Power at which it trips at once, as a multiple of its rating."""


class MeterPhysics(FrozenModel):
    """The meter of a model."""

    gain_error: Range = (0.0, 0.0)
    noise_ma: NotNegative = 0.0
    """Standard deviation of a reading's own white noise."""
    sample_rate_hz: Positive = 20e6
    samples: Annotated[int, Field(ge=64, le=65536)] = 8192
    peak_a: Positive = 20.0
    """Full scale of a captured waveform."""


class AnalyzerPhysics(FrozenModel):
    """The physics of an analyzer model."""

    load_bank: BankPhysics = BankPhysics()
    meter: MeterPhysics = MeterPhysics()


class AnalyzerProfile(FrozenModel):
    """An analyzer model: data and physics."""

    data: AnalyzerData
    physics: AnalyzerPhysics = AnalyzerPhysics()


def _same_names(
    what: str,
    data: tuple[Mode | ServicePoint, ...],
    physics: tuple[ModePhysics | PointPhysics, ...],
) -> None:
    known, given = [each.name for each in data], [each.name for each in physics]
    if sorted(known) != sorted(given):
        raise ValueError(f"data names the {what} {known}, physics {given}; they must be the same")
