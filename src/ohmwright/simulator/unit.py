"""One generator as built and aged: every value that its seed decides."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import cosh, exp, log

from .ageing import gain
from .output_stage import TRUE, Gains, OutputLimits, current_ma
from .profile import GeneratorProfile, ModePhysics, MonitorPhysics, PointPhysics, Response, Sense
from .randomness import Randomness

_FAR_COUNTS = 100.0
"""Far from the start, where the size of a count has nearly stopped changing."""


@dataclass(frozen=True, slots=True)
class TrimEffect:
    """The effect of one trim on its sense gain."""

    mode: str
    sense: Sense
    start_counts: int
    log_gain_per_count: float
    curvature: float
    coupling: Mapping[str, float]
    """Share of its effect that it has on the sense gain of other points, by their name."""

    def factor(self, counts: int) -> float:
        """The factor by which a trim at `counts` multiplies the gain.

        The size of a count changes smoothly by at most `curvature` on either side of the start, and
        never its sign.
        """
        moved = counts - self.start_counts
        bent = self.curvature * _FAR_COUNTS * _log_cosh(moved / _FAR_COUNTS)
        return exp(self.log_gain_per_count * (moved + bent))


def _log_cosh(x: float) -> float:
    """log(cosh(x)), without overflow."""
    return log(cosh(x)) if abs(x) < 20 else abs(x) - log(2)


@dataclass(frozen=True, slots=True)
class ResponseParameters:
    """One unit's response within an activation; `profile.Response` explains each value."""

    dead_s: float
    lag_s: float
    second_lag_s: float
    droop: float
    droop_tau_s: float
    recovery_tau_s: float
    noise: float
    noise_correlation_s: float
    hunting: float
    hunting_period_s: float

    @classmethod
    def draw(cls, physics: Response, unit: Randomness) -> ResponseParameters:
        """The response of the unit `unit`, drawn from the ranges of its model."""
        lag_s = unit.between("lag_s", physics.lag_s)
        # two equal lags have no partial fractions; nobody can tell 0.999 from 1
        second = min(unit.between("second_lag", physics.second_lag), 0.999)
        hunts = unit.chance("hunts", physics.hunting_share)
        return cls(
            dead_s=unit.between("dead_s", physics.dead_s),
            lag_s=lag_s,
            second_lag_s=second * lag_s,
            droop=unit.between("droop", physics.droop),
            droop_tau_s=unit.between("droop_tau_s", physics.droop_tau_s),
            recovery_tau_s=unit.between("recovery_tau_s", physics.recovery_tau_s),
            noise=unit.between("noise", physics.noise),
            noise_correlation_s=unit.between("noise_correlation_s", physics.noise_correlation_s),
            hunting=unit.between("hunting", physics.hunting) if hunts else 0.0,
            hunting_period_s=unit.between("hunting_period_s", physics.hunting_period_s),
        )


@dataclass(frozen=True, slots=True)
class MonitorParameters:
    """One unit's contact quality monitor."""

    alarm_ohm: float
    clear_ohm: float
    response_s: float

    @classmethod
    def draw(cls, physics: MonitorPhysics, unit: Randomness) -> MonitorParameters:
        """The monitor of the unit `unit`, drawn from the ranges of its model."""
        alarm_ohm = unit.between("alarm_ohm", physics.alarm_ohm)
        hysteresis_ohm = unit.between("hysteresis_ohm", physics.hysteresis_ohm)
        return cls(alarm_ohm, alarm_ohm - hysteresis_ohm, physics.response_s)


@dataclass(frozen=True)
class Unit:
    """One generator: model, seed and age decide every value."""

    profile: GeneratorProfile
    modes: dict[str, ModePhysics]
    gains: dict[str, Gains]
    """Sense gains of each mode before any trim."""
    trims: dict[str, TrimEffect]
    leakage_ma: dict[str, float]
    """At full setting."""
    dynamics: ResponseParameters
    coarse_counts: int
    monitor: MonitorParameters | None

    @classmethod
    def build(cls, profile: GeneratorProfile, seed: int, age_months: float) -> Unit:
        """The unit of model `profile` with this seed, at the age `age_months`."""
        unit, physics = Randomness(seed, "generator"), profile.physics
        quality = physics.contact_quality
        modes = {mode.name: mode for mode in physics.modes}
        return cls(
            profile=profile,
            modes=modes,
            gains={name: _aged(profile, unit, name, age_months) for name in modes},
            trims={point.name: _trim(profile, unit, point) for point in physics.points},
            leakage_ma={
                mode.name: unit.under("leakage").between(mode.name, mode.leakage_ma)
                for mode in physics.modes
            },
            dynamics=ResponseParameters.draw(physics.response, unit.under("response")),
            coarse_counts=unit.integer("coarse_counts", physics.coarse_counts),
            monitor=None
            if quality is None
            else MonitorParameters.draw(quality, unit.under("monitor")),
        )

    def trimmed_gains(self, mode: str, counts: Mapping[str, int]) -> Gains:
        """The sense gains of a mode with the trim of each point at its `counts`."""
        gains = self.gains[mode]
        for name, trim in self.trims.items():
            factor = trim.factor(counts[name])
            for moved, share in ((name, 1.0), *trim.coupling.items()):
                if self.trims[moved].mode == mode:
                    sense = self.trims[moved].sense
                    value = getattr(gains, sense) * factor**share
                    gains = gains._replace(**{sense: value})
        return gains

    def limits(self, mode: str, setting_w: float) -> OutputLimits:
        """The output limits of a mode; of them only the power depends on the setting."""
        physics = self.modes[mode]
        return OutputLimits(
            setting_w, physics.max_current_ma / 1000, physics.max_voltage_v, physics.corner
        )


def _aged(profile: GeneratorProfile, unit: Randomness, mode: str, months: float) -> Gains:
    ageing = profile.physics.ageing
    return Gains(
        current=gain(unit, "current", mode, ageing.current, months),
        voltage=gain(unit, "voltage", mode, ageing.voltage, months),
        phase=gain(unit, "phase", mode, ageing.phase, months),
    )


def _trim(profile: GeneratorProfile, unit: Randomness, physics: PointPhysics) -> TrimEffect:
    """The effect of a trim; mA a count become a change of the gain's logarithm a count."""
    own, point = unit.under("point", physics.name), profile.data.point(physics.name)
    mode = next(m for m in profile.data.modes if point is not None and m.name == point.mode)
    of_mode = next(m for m in profile.physics.modes if m.name == mode.name)
    limits = OutputLimits(
        mode.max_setting_w, of_mode.max_current_ma / 1000, of_mode.max_voltage_v, of_mode.corner
    )
    step = 1e-4
    true_ma = current_ma(limits, physics.load_ohm)
    moved_ma = current_ma(limits, physics.load_ohm, TRUE._replace(**{physics.sense: exp(step)}))
    ma_per_log_gain = (moved_ma - true_ma) / step
    low, high = physics.ma_per_count
    size_ma = own.log_between("ma_per_count", (low, high)) if low > 0 else 0.0
    return TrimEffect(
        mode=mode.name,
        sense=physics.sense,
        start_counts=own.integer("start_counts", physics.start_counts),
        log_gain_per_count=own.sign("sign") * size_ma / ma_per_log_gain,
        curvature=own.between("curvature", physics.curvature),
        coupling=physics.coupling,
    )
