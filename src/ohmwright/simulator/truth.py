"""The true values of a simulated bench. Only tests and rehearsals read them."""

from __future__ import annotations

from collections.abc import Mapping
from math import sqrt

from .generator import Direction, Key
from .output_stage import Gains, current_ma
from .rig import Rig
from .unit import Unit


class Truth:
    """True values that no instrument tells: without meter, noise and lag."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig

    def __repr__(self) -> str:
        state = "on" if self.rf_on else "off"
        return f"<Truth: RF {state}, on for {self.rf_on_s:.1f} s in all>"

    @property
    def unit(self) -> Unit:
        """The generator as drawn from the seed."""
        return self._rig.generator.unit

    @property
    def rf_on(self) -> bool:
        """Whether RF is on now."""
        self._rig.catch_up()
        return self._rig.rf_on

    @property
    def rf_on_intervals(self) -> tuple[tuple[float, float | None], ...]:
        """When RF went on and off, in s of the bench's clock; None while it is on."""
        self._rig.catch_up()
        return tuple(self._rig.rf_on_intervals)

    @property
    def rf_on_s(self) -> float:
        """Seconds that RF was on in all."""
        now_s = self._rig.now_s
        return sum((now_s if end is None else end) - start for start, end in self.rf_on_intervals)

    @property
    def current_ma(self) -> float:
        """The true current in mA through the input terminals now, without noise."""
        self._rig.catch_up()
        return self._rig.plant.current_ma(self._rig.now_s)

    @property
    def energy_j(self) -> float:
        """Heat in J brought into load resistances up to the latest reading."""
        self._rig.catch_up()
        return self._rig.plant.energy_j

    @property
    def bank_heat(self) -> float:
        """The load bank's temperature rise; 1 is the mean rise at its rated duty."""
        self._rig.catch_up()
        self._rig.plant.rest(self._rig.now_s)
        return self._rig.plant.bank.heat

    @property
    def stage_warmth(self) -> float:
        """The output stage's warmth now: 0 is rested, 1 thermal equilibrium with RF on."""
        self._rig.catch_up()
        self._rig.plant.rest(self._rig.now_s)
        return self._rig.plant.transient.warmth

    @property
    def warmth_at_start(self) -> float:
        """The output stage's warmth when the latest activation began; 0 is rested."""
        return self._rig.plant.transient.warmth_at_start

    @property
    def presses(self) -> int:
        """Number of key presses so far, by hand and by port."""
        return self._rig.generator.presses

    @property
    def pressed(self) -> tuple[tuple[float, Key, Direction], ...]:
        """Each press by hand that the unit took, with its time in s of the bench's clock."""
        self._rig.catch_up()
        return tuple(self._rig.pressed)

    @property
    def trims(self) -> Mapping[str, int]:
        """The trim of every point in counts, stored or not."""
        return dict(self._rig.generator.trims)

    def gains(self, mode: str) -> Gains:
        """The three sense gains of a mode now, with the trims."""
        return self.unit.trimmed_gains(mode, self._rig.generator.trims)

    def lag_free_current_ma(
        self,
        age_s: float = 6.0,
        *,
        mode: str | None = None,
        setting_w: float | None = None,
        load_ohm: float | None = None,
        trims: Mapping[str, int] | None = None,
        warmth: float = 0.0,
    ) -> float:
        """True current in mA at `age_s` of an activation, with droop but without lag and noise.

        Hunting is left out, too. What is not given is as selected now. `warmth` is the output
        stage's at the start: 0 is a rested activation, `warmth_at_start` the latest one.
        """
        rig, generator = self._rig, self._rig.generator
        mode = generator.mode if mode is None else mode
        setting_w = generator.setting_w if setting_w is None else setting_w
        load_ohm = rig.load_ohm if load_ohm is None else load_ohm
        step = rig.plant.bank.steps[load_ohm]
        cold_ma = current_ma(
            self.unit.limits(mode, setting_w),
            self.resistance_ohm(load_ohm),
            self.unit.trimmed_gains(mode, {**generator.trims, **(trims or {})}),
            step.reactance_ohm(self.unit.modes[mode].waveform.carrier_hz),
        )
        return cold_ma * rig.plant.transient.drooped(age_s, warmth)

    def lag_free_leakage_ma(self, age_s: float, mode: str, setting_w: float) -> float:
        """True HF leakage in mA at `age_s` of a rested activation in `mode` at `setting_w`."""
        known = self.unit.profile.data.mode(mode)
        share = 0.0 if known is None else setting_w / known.max_setting_w
        cold_ma = self.unit.leakage_ma[mode] * sqrt(share)
        return cold_ma * self._rig.plant.transient.drooped(age_s)

    def resistance_ohm(self, load_ohm: float) -> float:
        """The load resistance `load_ohm` as built, at its present temperature."""
        bank = self._rig.plant.bank
        return bank.steps[load_ohm].resistance_ohm * (1 + bank.drift)
