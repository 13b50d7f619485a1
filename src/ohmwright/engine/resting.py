"""How long RF must stay off before it is switched on again."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from ohmwright.estimation.duty import Duty
from ohmwright.estimation.thermal_droop import Droop, ResidualWarmth, Warmth, cooled, heated
from ohmwright.instruments.bench import Bench
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.step import Timing

_DUTY_OVER_S = 10.0
"""Part of an activation that must be within the duty when it begins; the rest is made up after."""
_SHARE_OF_TOLERANCE = 0.12
"""Standard uncertainty that the warmth left over may cause, relative to the tolerance."""


@dataclass
class OutputWarmth:
    """The generator's warmth, and the duty of load bank and generator, after each activation."""

    duties: tuple[Duty, ...]
    warmth: Warmth | None = None
    """None where the generator's data do not say how it droops: only the full rest will do."""
    off_s: float = -inf
    """Bench time at which RF went off last; minus infinity before the first activation."""
    unasked_off_s: float = -inf
    """Bench time at which RF went off last that nobody had asked for: how much flowed is not known,
    and the full rest follows."""
    shortens_rests: bool = True
    """Whether a rest may be shorter than the procedure's, by what the data say of the droop."""
    rested_at_s: float = 0.0
    """Bench time at which the unit is rested for the next activation, as far as that is known."""
    _typical: float = 0.0
    """Warmth that a typical unit had then, 0 to 1."""

    @classmethod
    def of_rested_bench(cls, bench: Bench) -> OutputWarmth:
        """Return the state of a bench whose RF has been off for long."""
        return cls.of_rested(bench.analyzer.data, bench.generator.data)

    @classmethod
    def of_rested(cls, analyzer: AnalyzerData, generator: GeneratorData) -> OutputWarmth:
        """Return the state of a rested bench by its data: nothing needs to be connected."""
        return cls(tuple(_duties(analyzer, generator)), rested_warmth(generator))

    def add_activation(self, on_s: float, off_s: float, power_w: float) -> None:
        """Add an activation at `power_w` from `on_s` to `off_s` of the bench's clock."""
        rest_s = self._rested_s(on_s)
        self.duties = tuple(
            duty.after(0.0, rest_s).after(power_w, off_s - on_s) for duty in self.duties
        )
        if self.warmth is not None:
            self.warmth = self.warmth.cooled(rest_s).heated(off_s - on_s)
        self._typical = heated(cooled(self._typical, rest_s), off_s - on_s)
        self.off_s = off_s

    def rest_s(self, now_s: float, timing: Timing, power_w: float, tolerance: float) -> float:
        """Return the seconds to rest from `now_s` on, before about `power_w` may flow.

        The procedure's rest is shortened only where the generator's data say how it droops and
        recovers: to where correcting for the warmth left over adds an uncertainty of no more than a
        small part of `tolerance` (relative). The duty's rest is never shortened.
        """
        rested_s = self._rested_s(now_s)
        for_duty_s = max(duty.rest_s(power_w, _DUTY_OVER_S) for duty in self.duties)
        for_droop_s = timing.rest_s
        if self.warmth is not None and self.shortens_rests:
            allowed = _SHARE_OF_TOLERANCE * tolerance
            for_droop_s = self.warmth.rest_s(allowed, timing.age_s, timing.rest_s)
        after_unasked_s = timing.rest_s - (now_s - self.unasked_off_s)
        return max(0.0, max(for_duty_s, for_droop_s) - rested_s, after_unasked_s)

    def residual_warmth(self, now_s: float, age_s: float) -> ResidualWarmth:
        """Return the warmth that an activation at `now_s` starts with, for a value at `age_s`."""
        if self.warmth is None:
            return ResidualWarmth()
        return self.warmth.cooled(self._rested_s(now_s)).residual(age_s)

    def typical_warmth(self, now_s: float) -> ResidualWarmth:
        """Return the warmth that a typical unit has at `now_s`, its uncertainty not known.

        What it does to the output is found with the unit's own droop, as the readings show it.
        """
        return ResidualWarmth(cooled(self._typical, self._rested_s(now_s)))

    def _rested_s(self, now_s: float) -> float:
        return min(now_s - self.off_s, 1e6)


def _duties(analyzer: AnalyzerData, generator: GeneratorData) -> list[Duty]:
    bank = analyzer.load_bank
    duties = [Duty(bank.max_power_w, bank.duty)]
    if generator.duty is not None:
        full_w = max(mode.max_setting_w for mode in generator.modes)
        duties.append(Duty(full_w, generator.duty))
    return duties


def rested_warmth(generator: GeneratorData) -> Warmth | None:
    """Return the warmth of a unit whose RF has been off for long; None without stated droop."""
    stated = generator.droop
    if stated is None:
        return None
    return Warmth(Droop(stated.largest, stated.tau_s, stated.recovery_tau_s))
