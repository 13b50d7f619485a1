"""The simulated generator's panel state: mode, setting, service mode, trims.

Verbs raise CommandError with the number that its port would put into the error queue.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from ohmwright.model.hardware import ServiceMode
from ohmwright.wire.scpi import short_form

from .dispatcher import CommandError
from .output_stage import current_ma
from .unit import Unit

Key = Literal["coarse", "fine"]
Direction = Literal["up", "down"]

SETTINGS_CONFLICT, OUT_OF_RANGE, ILLEGAL_VALUE = -221, -222, -224
_MOST_PRESSES = 1000
_SETTING_AT_START = 0.1


class SimulatedGenerator:
    """One unit; `changed` is called whenever its output may have to follow."""

    def __init__(self, unit: Unit, changed: Callable[[], None]) -> None:
        self.unit, self._changed = unit, changed
        self.rf_on = False
        """Set by the rig, which keys it."""
        self.in_service = False
        self.point: str | None = None
        self.presses = 0
        self._stored = {name: trim.start_counts for name, trim in unit.trims.items()}
        self.trims = dict(self._stored)
        """Counts of every point, as they act now."""
        self.mode, self.setting_w = "", 0.0
        self.reset()

    @property
    def service(self) -> ServiceMode | None:
        """The data of the service mode; None where there is none."""
        return self.unit.profile.data.service

    def reset(self) -> None:
        """Set the first mode at a tenth of its maximum, normal use and the stored trims."""
        first = self.unit.profile.data.modes[0]
        self.in_service, self.point = False, None
        self.trims = dict(self._stored)
        self.mode, self.setting_w = first.name, _SETTING_AT_START * first.max_setting_w
        self._changed()

    def select_mode(self, name: str) -> None:
        """Select a mode by name or mnemonic; the setting is limited to the mode's maximum."""
        self._refuse_while_on()
        wanted = name.upper()
        for mode in self.unit.profile.data.modes:
            if wanted in (mode.name.upper(), short_form(mode.name)):
                self.mode = mode.name
                self.setting_w = min(self.setting_w, mode.max_setting_w)
                return
        raise CommandError(ILLEGAL_VALUE)

    def set_power(self, setting_w: float) -> None:
        """Change the power setting, also while RF is on."""
        if not 0 <= setting_w <= self._max_setting_w():
            raise CommandError(OUT_OF_RANGE)
        self.setting_w = setting_w
        self._changed()

    def enter_service(self) -> None:
        """Enter service mode; no point is chosen yet."""
        self._refuse_while_on()
        if self.service is None:
            raise CommandError(SETTINGS_CONFLICT)
        self.in_service = True

    def leave_service(self) -> None:
        """Return to normal use with the stored trims."""
        self._refuse_while_on()
        self.in_service, self.point = False, None
        self.trims = dict(self._stored)

    def choose_point(self, name: str) -> None:
        """Choose an adjustment point and with it its mode at full setting."""
        self._refuse_while_on()
        if not self.in_service:
            raise CommandError(SETTINGS_CONFLICT)
        if name not in self.unit.trims:
            raise CommandError(ILLEGAL_VALUE)
        self.point, self.mode = name, self.unit.trims[name].mode
        self.setting_w = self._max_setting_w()

    def set_trim(self, counts: int) -> None:
        """Set the trim of the chosen point; it acts at once."""
        point = self.chosen_point()
        low, high = self._trim_limits(point)
        if not low <= counts <= high:
            raise CommandError(OUT_OF_RANGE)
        self.trims[point] = counts
        self._changed()

    def press(self, key: Key, direction: Direction, presses: int) -> None:
        """Press a key: a coarse press moves this unit's own counts, a fine one a single count."""
        point = self.chosen_point()
        if not 0 <= presses <= _MOST_PRESSES:
            raise CommandError(OUT_OF_RANGE)
        self.presses += presses
        counts = presses * (self.unit.coarse_counts if key == "coarse" else 1)
        moved = self.trims[point] + (counts if direction == "up" else -counts)
        low, high = self._trim_limits(point)
        self.trims[point] = min(max(moved, low), high)
        self._changed()

    def store(self) -> None:
        """Store the trims of all points."""
        if not self.in_service:
            raise CommandError(SETTINGS_CONFLICT)
        self._stored = dict(self.trims)

    def has_kept(self, point: str, counts: int, key: Key | None) -> None:
        """Have the trim of a point moved and stored before: `counts` as they are on record.

        A coarse press is on record as the unit's data say, and has moved this unit's own counts.
        """
        if key == "coarse" and self.service is not None:
            counts = round(counts / self.service.coarse_counts) * self.unit.coarse_counts
        low, high = self._trim_limits(point)
        self._stored[point] = min(max(self._stored[point] + counts, low), high)
        self.trims = dict(self._stored)
        self._changed()

    @property
    def is_stored(self) -> bool:
        """Whether every trim is stored as it acts now."""
        return self._stored == self.trims

    def stored_trim(self) -> int:
        """The stored trim of the chosen point, in counts."""
        return self._stored[self.chosen_point()]

    def chosen_point(self) -> str:
        """The chosen adjustment point. Raises CommandError where none is chosen."""
        if self.point is None:
            raise CommandError(SETTINGS_CONFLICT)
        return self.point

    def current_ma(self, load_ohm: float, reactance_ohm: float = 0.0) -> float:
        """Output current in mA of the present selection, cold and without lag."""
        limits = self.unit.limits(self.mode, self.setting_w)
        gains = self.unit.trimmed_gains(self.mode, self.trims)
        return current_ma(limits, load_ohm, gains, reactance_ohm)

    def leakage_ma(self) -> float:
        """HF leakage in mA of the present selection; it follows the square root of the power."""
        share = self.setting_w / self._max_setting_w()
        return float(self.unit.leakage_ma[self.mode] * share**0.5)

    def _max_setting_w(self) -> float:
        mode = self.unit.profile.data.mode(self.mode)
        return 0.0 if mode is None else mode.max_setting_w

    def _trim_limits(self, point: str) -> tuple[int, int]:
        data = self.unit.profile.data.point(point)
        return (0, 0) if data is None else (data.min_trim, data.max_trim)

    def _refuse_while_on(self) -> None:
        if self.rf_on:
            raise CommandError(SETTINGS_CONFLICT)
