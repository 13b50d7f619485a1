"""Generator and analyzer cabled together: who keys, what is connected, and when RF ends."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from math import inf

from ohmwright.model.hardware import InputPath
from ohmwright.wire.clock import Clock

from .bench_defects import BenchDefects
from .circuit import Circuit, circuit_through
from .contact_quality import GOOD_CONTACT_OHM, ContactMonitor
from .dispatcher import CommandError
from .dynamics import OutputDynamics
from .generator import OUT_OF_RANGE, SETTINGS_CONFLICT, Direction, Key, SimulatedGenerator
from .load_bank import LoadBank
from .meter import Meter, meter_of
from .plant import Plant
from .profile import AnalyzerProfile, GeneratorProfile
from .randomness import Randomness
from .unit import Unit

HARDWARE_ERROR, ILLEGAL_VALUE = -240, -224
_CLOSES_AGAIN_AT = 0.8
"""Share of the trip's heat below which the contact may be closed."""


class Rig:
    """The cabled hardware; verbs act at `now_s`, when it last caught up with its clock."""

    def __init__(
        self,
        analyzer: AnalyzerProfile,
        generator: GeneratorProfile,
        seed: int,
        age_months: float,
        clock: Clock,
        on_error: Callable[[int], None],
    ) -> None:
        own, unit = Randomness(seed, "analyzer"), Unit.build(generator, seed, age_months)
        self.analyzer, self._clock, self._on_error = analyzer, clock, on_error
        self.now_s = clock.now_s()
        bank = LoadBank(analyzer.data.load_bank, analyzer.physics.load_bank, own.under("bank"))
        meter = meter_of(analyzer.data.meter, analyzer.physics.meter, own.under("meter"))
        self.plant = Plant(_transient(unit, meter, seed), bank, meter, self._trip, self.now_s)
        self.load_ohm = max(bank.steps)
        self.path: InputPath = "OUTPUT"
        self.contact_ohm = GOOD_CONTACT_OHM
        self.ceiling_s = self._longest_s
        """The longest limit that ON may carry."""
        self.monitor = None if unit.monitor is None else ContactMonitor(unit.monitor)
        self.rf_on_intervals: list[tuple[float, float | None]] = []
        self._contact_until_s: float | None = None
        self._pedal_down = self._keyed = False
        self._timeout_s = inf
        self._due_s = inf
        self.pressed: list[tuple[float, Key, Direction]] = []
        """Each press of a key by hand that the unit took, with its time."""
        self._planned_presses: list[tuple[float, Key, Direction]] = []
        self.defects = BenchDefects()
        self.generator = SimulatedGenerator(unit, self.follow)

    def catch_up(self) -> None:
        """Let everything happen that has happened by itself since, by the clock."""
        now_s = self._clock.now_s()
        while now_s >= self._due_s:
            self._meet_deadline(self._due_s)
        if now_s > self.now_s:
            self.plant.advance(now_s)
            self.now_s = now_s

    @property
    def rf_on(self) -> bool:
        """Whether RF is on."""
        return self.plant.circuit is not None

    @property
    def contact_closed(self) -> bool:
        """Whether the analyzer's contact keys the generator."""
        return self._contact_until_s is not None

    @property
    def left_s(self) -> float:
        """Seconds left of the contact's limit; 0 when it is open."""
        return 0.0 if self._contact_until_s is None else self._contact_until_s - self.now_s

    @property
    def alarm(self) -> bool:
        """Whether the contact quality alarm is on."""
        if self.monitor is None or self.defects.standby:
            return False
        return self.defects.lead_off or self.monitor.alarm(self.now_s)

    @property
    def _longest_s(self) -> float:
        longest_s = self.analyzer.data.activation.max_limit_s
        return inf if longest_s is None else longest_s

    @property
    def _inhibited(self) -> bool:
        """Whether RF is kept off: by standby, or in monopolar modes by the contact alarm."""
        if self.defects.standby:
            return True
        mode = self.generator.unit.profile.data.mode(self.generator.mode)
        return self.alarm and mode is not None and mode.kind != "bipolar"

    def close_contact(self, limit_s: float) -> None:
        """Key the generator for at most `limit_s`."""
        if self.contact_closed or self.rf_on:
            raise CommandError(SETTINGS_CONFLICT)
        self.plant.rest(self.now_s)
        bank = self.plant.bank
        if bank.heat > _CLOSES_AGAIN_AT * self.analyzer.physics.load_bank.trip_heat:
            raise CommandError(HARDWARE_ERROR)
        self._contact_until_s = self.now_s + limit_s
        self._rekey()

    def open_contact(self) -> None:
        """Stop keying the generator."""
        self._contact_until_s = None
        self._rekey()

    def hold_pedal(self, down: bool) -> None:
        """Press or release the pedal, which keys the generator."""
        self._pedal_down = down
        self._rekey()

    def press(self, key: Key, direction: Direction, presses: int) -> None:
        """Press a key at once, by hand; refused, it is nothing."""
        self.generator.press(key, direction, presses)
        self.pressed += [(self.now_s, key, direction)] * presses

    def plan_press(self, at_s: float, key: Key, direction: Direction) -> None:
        """Press a key once at `at_s`, or now if that is past; refused, it is nothing."""
        self._planned_presses = sorted([*self._planned_presses, (at_s, key, direction)])
        self._plan()

    def drop_presses(self, after_s: float) -> None:
        """Forget the planned presses later than `after_s`."""
        self._planned_presses = [each for each in self._planned_presses if each[0] <= after_s]
        self._plan()

    def set_load(self, load_ohm: float) -> None:
        """Connect the load resistance `load_ohm`; refused while current flows."""
        if load_ohm not in self.plant.bank.steps:
            raise CommandError(OUT_OF_RANGE)
        self._refuse_while_on()
        self.load_ohm = load_ohm

    def set_path(self, path: InputPath) -> None:
        """Join the input terminals to a circuit; refused while the output is on."""
        data = self.analyzer.data
        missing = (path == "LEAKAGE" and data.leakage_load_ohm is None) or (
            path == "CQUALITY" and data.contact_quality_ohm is None
        )
        if missing:
            raise CommandError(ILLEGAL_VALUE)
        self._refuse_while_on()
        self.path = path
        self._show_contact()

    def set_ceiling(self, ceiling_s: float) -> None:
        """Set the longest limit that ON may carry; refused while the output is on."""
        if not 0 < ceiling_s <= self._longest_s:
            raise CommandError(OUT_OF_RANGE)
        self._refuse_while_on()
        self.ceiling_s = ceiling_s

    def set_contact(self, contact_ohm: float) -> None:
        """Connect `contact_ohm` between the halves of the neutral electrode."""
        limits = self.analyzer.data.contact_quality_ohm
        if limits is None or not limits[0] <= contact_ohm <= limits[1]:
            raise CommandError(OUT_OF_RANGE)
        self.contact_ohm = contact_ohm
        self._show_contact()

    def reset_analyzer(self) -> None:
        """Open the contact, set largest load, output path and highest ceiling, count from 0."""
        self.open_contact()
        self.load_ohm, self.path = max(self.plant.bank.steps), "OUTPUT"
        self.contact_ohm, self.ceiling_s = GOOD_CONTACT_OHM, self._longest_s
        self._show_contact()
        if not self.rf_on:
            self.plant.reset_cadence(self.now_s)

    def follow(self) -> None:
        """Let the output follow a change on the generator."""
        if self.rf_on:
            self.plant.retarget(self.now_s, self.circuit())

    def circuit(self) -> Circuit:
        """The circuit that the present selection makes."""
        load = self.plant.bank.steps[self.load_ohm]
        return circuit_through(self.path, load, self.generator, self.analyzer.data, self.defects)

    def _rekey(self) -> None:
        """Switch RF on or off at an edge of contact or pedal."""
        stuck = self.defects.contact_welded and self._keyed
        keyed = self.contact_closed or self._pedal_down or stuck
        if keyed and not self._keyed and not self._inhibited:
            self._start()
        elif not keyed and self.rf_on:
            self._stop()
        self._keyed = keyed
        self._plan()

    def _start(self) -> None:
        service = self.generator.service if self.generator.in_service else None
        self._timeout_s = inf if service is None else self.now_s + service.timeout_s
        self.plant.start(self.now_s, self.circuit())
        self.generator.rf_on = True
        self.rf_on_intervals.append((self.now_s, None))

    def _stop(self) -> None:
        self.plant.stop(self.now_s)
        self._timeout_s = inf
        self.generator.rf_on = False
        self.rf_on_intervals[-1] = (self.rf_on_intervals[-1][0], self.now_s)

    def _plan(self) -> None:
        until_s = inf if self._contact_until_s is None else self._contact_until_s
        press_s = self._planned_presses[0][0] if self._planned_presses else inf
        self._due_s = min(until_s, self._timeout_s, press_s)

    def _meet_deadline(self, due_s: float) -> None:
        due_s = max(due_s, self.now_s)
        self.plant.advance(due_s)
        self.now_s = due_s
        while self._planned_presses and self._planned_presses[0][0] <= due_s:
            _, key, direction = self._planned_presses.pop(0)
            with suppress(CommandError):
                self.press(key, direction, 1)
        if self._contact_until_s is not None and self._contact_until_s <= due_s:
            self.open_contact()
        if self._timeout_s <= due_s and self.rf_on:
            self._stop()
        self._plan()

    def _trip(self, at_s: float) -> None:
        """Protect the load bank: contact open, current broken, error queued."""
        self.now_s = at_s
        self._on_error(HARDWARE_ERROR)
        self._contact_until_s = None
        self._keyed = self._pedal_down
        self._stop()
        self._plan()

    def _refuse_while_on(self) -> None:
        if self.contact_closed or self.rf_on:
            raise CommandError(SETTINGS_CONFLICT)

    def _show_contact(self) -> None:
        if self.monitor is not None:
            joined = self.path == "CQUALITY" and self.path not in self.defects.disconnected_paths
            self.monitor.see(self.contact_ohm if joined else GOOD_CONTACT_OHM, self.now_s)


def _transient(unit: Unit, meter: Meter, seed: int) -> OutputDynamics:
    draws = Randomness(seed, "generator", "output")
    return OutputDynamics(
        unit.dynamics,
        tick_s=meter.tick_s,
        reading_s=meter.reading_s,
        normals=draws.normals("noise"),
        uniforms=draws.uniforms("hunting"),
    )
