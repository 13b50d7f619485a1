"""Generator output, load and meter together, advanced in closed form.

While RF is on time advances from reading to reading, while it is off in one step. The meter's
cadence starts anew when RF does, so readings fall on whole intervals of the activation's age and
never depend on when somebody looks.
"""

from __future__ import annotations

from collections.abc import Callable

from .circuit import Circuit
from .dynamics import OutputDynamics
from .load_bank import LoadBank
from .meter import Meter

_FUZZ = 1e-6
"""In reading intervals: sums of tenths of a second must not lose a reading."""


class Plant:
    """The physics of one bench; all times are the bench clock's, in s."""

    def __init__(
        self,
        transient: OutputDynamics,
        bank: LoadBank,
        meter: Meter,
        on_trip: Callable[[float], None],
        now_s: float,
    ) -> None:
        self.transient, self.bank, self.meter = transient, bank, meter
        self._on_trip = on_trip
        self._reading_s, self._per_s = meter.reading_s, meter.data.readings_per_s
        self._ticks, self._a2_per_ma2_s = meter.ticks_per_reading, 1e-6 * meter.tick_s
        self.circuit: Circuit | None = None
        """None while RF is off."""
        self.origin_s = now_s
        """When the meter's cadence began: at the latest RF-on or reset."""
        self._rested_s = now_s
        self.energy_j = 0.0
        """Heat brought into load resistances so far."""
        self._done = 0
        self._tail: list[list[float]] = []
        self._load_factor = 1.0

    def advance(self, now_s: float) -> None:
        """Complete every reading that is due by `now_s`."""
        due = int((now_s - self.origin_s) * self._per_s + _FUZZ)
        if due <= self._done:
            return
        transient = self.transient
        while self._done < due and (circuit := self.circuit) is not None:
            means = transient.run(self._ticks, self._load_factor)
            self.meter.take(means, transient.noise)
            self._done += 1
            if self._heat(circuit, transient.square_sum, self._reading_s):
                self._on_trip(self.origin_s + self._done * self._reading_s)
        if self._done < due:
            self._read_nothing(due)

    def start(self, now_s: float, circuit: Circuit) -> None:
        """Switch RF on into `circuit`; the caller has advanced to `now_s`."""
        self.rest(now_s)
        self._load_factor = 1.0 - circuit.sensitivity * self.bank.drift
        self.meter.clear()
        self.meter.pass_band(circuit.pass_band)
        self.circuit = circuit
        self._begin_cadence(now_s)
        self.transient.start(circuit.target_ma)

    def retarget(self, now_s: float, circuit: Circuit) -> None:
        """Change the target current while RF is on."""
        self.circuit = circuit
        self.transient.retarget(now_s - self.origin_s, circuit.target_ma)

    def stop(self, now_s: float) -> None:
        """Switch RF off; what the meter's window still holds is read as its time comes."""
        circuit, ticks = self.circuit, self._ticks
        if circuit is None:
            return
        means = self.transient.run_to(now_s - self.origin_s)
        partial_s = now_s - self.origin_s - self._done * self._reading_s
        if partial_s > 0:
            self._heat(circuit, self.transient.square_sum, partial_s)
        self.circuit, self._rested_s = None, now_s
        flush = self.meter.tail_ticks + len(means)
        padded = [self._load_factor * mean for mean in means] + [0.0] * (flush + ticks)
        self._tail = [padded[i : i + ticks] for i in range(0, flush, ticks)]

    def reset_cadence(self, now_s: float) -> None:
        """Count readings and their intervals from `now_s` on; RF is off."""
        self._tail = []
        self.meter.reset()
        self._begin_cadence(now_s)

    def current_ma(self, now_s: float) -> float:
        """The true current in mA at `now_s`, without noise; the caller has advanced."""
        if self.circuit is None:
            return 0.0
        return self._load_factor * self.transient.at(now_s - self.origin_s)

    def rest(self, now_s: float) -> None:
        """Cool output stage and load down up to `now_s`; does nothing while RF is on."""
        if self.circuit is None:
            self.bank.cool(now_s - self._rested_s)
            self.transient.rest(now_s - self._rested_s)
            self._rested_s = now_s

    def _begin_cadence(self, now_s: float) -> None:
        self.origin_s, self._done = now_s, 0

    def _heat(self, circuit: Circuit, square_sum: float, duration_s: float) -> bool:
        """Put a reading's I²R into the load; whether the bank trips."""
        factor = self._load_factor
        energy_j = square_sum * factor * factor * self._a2_per_ma2_s * circuit.resistance_ohm
        self.energy_j += energy_j
        if not circuit.heats_bank:
            return False
        trips = self.bank.warm(energy_j / duration_s, duration_s)
        self._load_factor = 1.0 - circuit.sensitivity * self.bank.drift
        return trips

    def _read_nothing(self, due: int) -> None:
        """Complete readings after RF went off: first what the window still holds, then zeros."""
        while self._tail and self._done < due:
            self.meter.take(self._tail.pop(0), self.transient.noise)
            self._done += 1
        self.meter.skip(due - self._done)
        self._done = due
