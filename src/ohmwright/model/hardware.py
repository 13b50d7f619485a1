"""Capabilities of analyzers and generators, as data their owner writes from the manuals."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, model_validator

from .base import FrozenModel

LEAST, MOST = 1e-9, 1e12
"""Least and largest resistance, power, current, frequency or time that a file may give."""


def _not_as_good_as_zero(value: float) -> float:
    if value < LEAST:
        raise ValueError(f"input should be {LEAST:g} or more, if it is not zero that is meant")
    return value


Positive = Annotated[float, Field(gt=0, le=MOST), AfterValidator(_not_as_good_as_zero)]
NotNegative = Annotated[float, Field(ge=0, le=MOST)]
Count = Annotated[int, Field(ge=-1_000_000, le=1_000_000)]
MANY = 300
"""More than any list of modes, load resistances, ranges or settings has."""
PanelName = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9 _.-]{0,30}$")]
"""A name that travels in a command: nothing in it can end the command or begin another."""
LONGEST_HOLD_S = 2.5
"""A meter that changes its range holds its figure or its count for less; common practice, no
source."""
_ZERO_DIGITS = 5
"""Largest zero of a meter, in digits of its display, where its data do not say."""
Sense = Literal["current", "voltage", "phase"]
InputPath = Literal["OUTPUT", "LEAKAGE", "CQUALITY"]
"""The circuit that the analyzer joins its input terminals to."""
ModeKind = Literal["cut", "blend", "coag", "bipolar"]


class LoadBankData(FrozenModel):
    """The non-inductive load resistances, and the power and time they are rated for."""

    loads_ohm: tuple[Positive, ...] = Field(min_length=1, max_length=MANY)
    max_power_w: Positive
    max_on_s: Positive
    """Longest activation at `max_power_w`."""
    duty: Annotated[float, Field(gt=0, le=1)] = 0.25
    """Largest share of on-time over a few minutes at `max_power_w`."""


Averaging = Literal["mean", "filter"]
"""How data say that a meter averages: over a window that moves along, or as a lag does."""


class MeterData(FrozenModel):
    """The true-RMS current meter."""

    max_current_ma: Positive
    resolution_ma: Positive
    readings_per_s: Annotated[float, Field(gt=0, le=1000)]
    window_s: Positive
    """Each reading is the mean over this time, ending when it is taken; of a filter it is twice the
    time constant, which delays as much."""
    averages_by: Averaging = "mean"
    bandwidth_hz: Positive | None = None
    """Where a sine reads 3 dB low, from its manual; absent: its response is left out of budgets."""
    zero_ma: NotNegative | None = None
    """The most it shows while nothing flows, from its manual; absent: five digits."""

    @property
    def largest_zero_ma(self) -> float:
        """The most, in mA, that it may show while nothing flows."""
        return _ZERO_DIGITS * self.resolution_ma if self.zero_ma is None else self.zero_ma


class DigitiserData(FrozenModel):
    """What captures the waveform; what is absent is not part of a crest factor's uncertainty."""

    sample_rate_hz: Positive | None = None
    bandwidth_hz: Positive | None = None
    """Where a sine is captured 3 dB low."""
    bits: Annotated[int, Field(ge=4, le=16)] | None = None
    """Of a sample, the sign among them."""


class ActivationOutput(FrozenModel):
    """The contact that keys the generator, and by what the analyzer opens it by itself."""

    max_limit_s: Positive | None = None
    """Largest time limit the ON command can carry; absent where it carries none."""
    single_shot: bool = False
    """One ON gives one activation of a length fixed in the instrument."""

    @property
    def bounded(self) -> bool:
        """Whether the instrument ends an activation by itself."""
        return self.max_limit_s is not None or self.single_shot


def check_one_way(command_set: str | None, backend: str | None, options: object) -> None:
    """Raise ValueError for an instrument with two ways of being spoken to."""
    if command_set is not None and backend is not None:
        raise ValueError("an instrument has a command_set or a backend, not both")
    if options and backend is None:
        raise ValueError("'options' are told to a backend, and none is named")


class AnalyzerData(FrozenModel):
    """A bench analyzer's capabilities, checked before anything is switched on."""

    maker: str
    model: str
    command_set: str | None = None
    """Name of a shipped command set, or a path relative to this file."""
    backend: str | None = None
    """Name of an installed back end that works it in place of a command set."""
    options: Annotated[dict[str, Any], Field(default_factory=dict)]
    """What is told to that back end, which says what there can be."""
    load_bank: LoadBankData
    meter: MeterData
    activation: ActivationOutput = ActivationOutput()
    leakage_load_ohm: Positive | None = None
    """Measuring resistance of the HF leakage path; absent where there is none."""
    contact_quality_ohm: tuple[Positive, Positive] | None = None
    """Smallest and largest resistance of the contact quality simulator."""
    waveform: bool = False
    digitiser: DigitiserData = DigitiserData()

    @model_validator(mode="after")
    def _is_worked_in_one_way(self) -> AnalyzerData:
        check_one_way(self.command_set, self.backend, self.options)
        return self

    @model_validator(mode="after")
    def _digitiser_captures(self) -> AnalyzerData:
        if self.digitiser != DigitiserData() and not self.waveform:
            raise ValueError("the table digitiser needs waveform = true")
        return self

    @property
    def has_paths(self) -> bool:
        """Whether the input terminals can be joined to more than the output circuit."""
        return self.leakage_load_ohm is not None or self.contact_quality_ohm is not None


class Mode(FrozenModel):
    """One output mode of a generator."""

    name: PanelName
    kind: ModeKind
    max_setting_w: Positive
    rated_load_ohm: Positive
    max_current_ma: Positive | None = None
    """The current limit at full setting, where the maker states it."""
    carrier_hz: Positive | None = None
    """Frequency of the HF current, of a damped train that of its ringing, where it is stated."""


class ServicePoint(FrozenModel):
    """An adjustment point of the service mode."""

    name: PanelName
    mode: PanelName
    sense: Sense | None = None
    """The sense gain that its trim corrects; absent where the service manual does not say."""
    min_trim: Count = -1000
    max_trim: Count = 1000
    count_ma: Positive | None = None
    """The most by which a count moves the current, in mA; absent where the manual does not say."""
    also_moves: tuple[PanelName, ...] | None = Field(None, max_length=MANY)
    """Other points whose output its trim moves, by the service manual; empty: it moves none;
    absent: not known, so any may be moved."""


class ServiceMode(FrozenModel):
    """The service mode: its adjustment points, its coarse key and its time-out."""

    points: tuple[ServicePoint, ...] = Field(max_length=MANY)
    coarse_counts: Positive = 10.0
    """What one press of the coarse key is said to move, in counts (a fine press moves one)."""
    timeout_s: Positive = 45.0
    """An activation in service mode ends by itself after this."""
    moves_while_on: bool = True
    """Whether a trim can be moved while RF is on."""

    @model_validator(mode="after")
    def _moved_points_exist(self) -> ServiceMode:
        known = {point.name for point in self.points}
        for point in self.points:
            for moved in point.also_moves or ():
                if moved not in known - {point.name}:
                    raise ValueError(
                        f"the trim of '{point.name}' cannot also move '{moved}': also_moves names "
                        "other points of the same unit"
                    )
        return self


class DroopData(FrozenModel):
    """How far the output falls while RF is on and how it recovers, over all units of a model."""

    largest: Annotated[float, Field(gt=0, lt=0.5)]
    """Largest relative loss when warm through."""
    tau_s: tuple[Positive, Positive]
    """Shortest and longest time constant of warming."""
    recovery_tau_s: tuple[Positive, Positive]
    """Shortest and longest time constant of recovering."""


class GeneratorData(FrozenModel):
    """A generator model's capabilities."""

    maker: str
    model: str
    command_set: str | None = None
    """Name of a shipped command set, or a path; absent for a unit without a port."""
    backend: str | None = None
    """Name of an installed back end that works its port in place of a command set."""
    options: Annotated[dict[str, Any], Field(default_factory=dict)]
    """What is told to that back end, which says what there can be."""
    modes: tuple[Mode, ...] = Field(min_length=1, max_length=MANY)
    service: ServiceMode | None = None
    contact_quality_monitor: bool = False
    duty: Annotated[float, Field(gt=0, le=1)] | None = None
    """Largest share of on-time over a few minutes at full setting, where the maker states it."""
    droop: DroopData | None = None
    """Lets rests be as short as the recovery needs; absent: rests as the procedure says."""

    @model_validator(mode="after")
    def _is_worked_in_one_way(self) -> GeneratorData:
        check_one_way(self.command_set, self.backend, self.options)
        return self

    def mode(self, name: str) -> Mode | None:
        """The mode called `name`, if there is one."""
        return next((mode for mode in self.modes if mode.name == name), None)

    def point(self, name: str) -> ServicePoint | None:
        """The service point called `name`, if there is one."""
        points = self.service.points if self.service is not None else ()
        return next((point for point in points if point.name == name), None)
