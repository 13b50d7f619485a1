"""The true-RMS meter: window, gain error, noise, resolution, and numbered readings."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from functools import lru_cache
from math import ceil, expm1, inf

from ohmwright.model.hardware import MeterData
from ohmwright.wire.scpi import format_number

from .profile import MeterPhysics
from .randomness import Randomness

GRID_S = 0.05
"""Longest tick; a reading interval is a whole number of ticks."""
_OVERRANGE = 1.05
_TAIL_TAUS = 9.0
"""After so many time constants a filter shows a part in 8,000 of what was there."""


class Meter:
    """Makes a reading from every `ticks_per_reading` ticks, the mean of the latest `window_ticks`.

    For `tail_ticks` after RF is off it still shows something.
    """

    def __init__(self, data: MeterData, physics: MeterPhysics, own: Randomness) -> None:
        self.data = data
        self.reading_s = 1 / data.readings_per_s
        self.ticks_per_reading = ceil(self.reading_s / GRID_S - 1e-9)
        self.tick_s = self.reading_s / self.ticks_per_reading
        self.tail_ticks = self.window_ticks = self._averaged_ticks()
        self.number = 0
        """Completed readings since the reset."""
        self._gain = 1 + own.between("gain_error", physics.gain_error)
        self._scale = self._gain / self.window_ticks
        self._noise_ma, self._normals = physics.noise_ma, own.normals("noise")
        self._window: deque[float] = deque(maxlen=self.window_ticks)
        self._most_ma = _OVERRANGE * data.max_current_ma
        self._digit_ma = data.resolution_ma
        self.value_ma: float | None = None
        """The latest reading in mA; None before the first, infinite above the range."""
        self._reply: bytes | None = None
        """The latest reading as it was last asked for; None where it has not been."""
        self.reset()

    def _averaged_ticks(self) -> int:
        return max(1, round(self.data.window_s / self.tick_s))

    def reset(self) -> None:
        """Count readings from 0 again."""
        self.number, self.value_ma, self._reply = 0, None, None
        self.clear()

    def clear(self) -> None:
        """Empty the window."""
        self._window.extend([0.0] * self.window_ticks)

    def pass_band(self, share: float) -> None:
        """Set the share of the RMS value that the meter's bandwidth lets through."""
        self._scale = share * self._gain / self.window_ticks

    def take(self, means_ma: Iterable[float], noise: float) -> None:
        """Complete a reading with the ticks since the last one and the output's noise."""
        window = self._window
        window.extend(means_ma)
        value_ma = sum(window) * self._scale * (1 + noise) + self._noise_ma * next(self._normals)
        digit_ma = self._digit_ma
        shown_ma = abs(round(value_ma / digit_ma) * digit_ma)
        self.value_ma = shown_ma if shown_ma <= self._most_ma else inf
        self.number += 1
        self._reply = None

    def skip(self, readings: int) -> None:
        """Complete `readings` readings without any current: the meter then shows zero."""
        if readings > 0:
            self.clear()
            self.value_ma = 0.0
            self.number += readings
            self._reply = None

    def fetch(self, _: list[str]) -> bytes:
        """The latest reading as the instrument replies it: value in A, unit, number."""
        if self._reply is None:
            value_ma = self.value_ma
            if value_ma is None:
                return NO_READING
            self._reply = b"%s,A,%05d" % (shown_a(value_ma), self.number)
        return self._reply


class FilterMeter(Meter):
    """Averages by a lag of first order, whose time constant is half of the stated window."""

    def __init__(self, data: MeterData, physics: MeterPhysics, own: Randomness) -> None:
        self._filtered_ma = 0.0
        super().__init__(data, physics, own)
        tau_s = 0.5 * data.window_s
        self._follows = -expm1(-self.tick_s / tau_s)
        self.tail_ticks = ceil(_TAIL_TAUS * tau_s / self.tick_s)

    def _averaged_ticks(self) -> int:
        return 1  # the filter has averaged before

    def clear(self) -> None:
        """Empty the filter."""
        super().clear()
        self._filtered_ma = 0.0

    def take(self, means_ma: Iterable[float], noise: float) -> None:
        """Complete a reading with the ticks since the last one and the output's noise."""
        for mean_ma in means_ma:
            self._filtered_ma += self._follows * (mean_ma - self._filtered_ma)
        super().take((self._filtered_ma,), noise)


def meter_of(data: MeterData, physics: MeterPhysics, own: Randomness) -> Meter:
    """Return a meter that averages as its data say."""
    kind = FilterMeter if data.averages_by == "filter" else Meter
    return kind(data, physics, own)


@lru_cache(maxsize=4096)  # readings of an output that stands are of few figures
def shown_a(value_ma: float) -> bytes:
    """A reading in A, as the instrument replies it; infinity stands for what is over its range."""
    return format_number(inf).encode() if value_ma == inf else b"%+.5E" % (value_ma / 1000)


NO_READING = b"9.91E+37,A,00000"
