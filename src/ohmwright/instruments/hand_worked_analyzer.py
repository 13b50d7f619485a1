"""An analyzer of which a person does a part, or all: knobs, foot switch and typed readings."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property
from math import isnan

from ohmwright.model.by_hand import HandVerb, data_by_hand
from ohmwright.model.errors import OutOfCapability
from ohmwright.model.hardware import AnalyzerData, InputPath
from ohmwright.model.protections import Protections
from ohmwright.wire.clock import Clock

from .analyzer import Analyzer, GuardProof, Reading, WaveformCapture
from .declared_protections import protections_by_hand
from .foot_switch import FootSwitch
from .hand_requests import ConnectContact, ConnectLoad
from .operator import Operator
from .required_messages import verbs_by_hand
from .typed_meter import TypedMeter

_PRESS_S = 1.0
"""How far the press may be from the Enter that goes with it; common practice, no source."""
_FALLEN = 0.85
"""The foot switch has been let go where a current is less than this part of the one before."""
_NO_OUTPUT_AFTER_S = 5.0
"""How long a current is waited for after the foot switch was said to be pressed."""


class HandWorkedAnalyzer(Analyzer):
    """Asks a person for the verbs that are by hand, and `linked` for the others.

    `linked` is None where nothing reaches the analyzer; `label` is then its identity.
    """

    def __init__(
        self,
        data: AnalyzerData,
        by_hand: Iterable[HandVerb],
        operator: Operator,
        clock: Clock,
        linked: Analyzer | None,
        label: str = "",
    ) -> None:
        self.by_hand = by_hand = frozenset(by_hand)
        self.data = data_by_hand(data, by_hand)
        self.verbs = None if linked is None else verbs_by_hand(linked.verbs, by_hand)
        self._operator, self._clock, self._linked, self._label = operator, clock, linked, label
        self._foot = FootSwitch(operator, clock) if "foot switch" in by_hand else None
        self._typed = TypedMeter(data.meter, operator, clock) if "reading" in by_hand else None
        self.shows_power = linked is not None and self._typed is None and linked.shows_power
        self._until_s = 0.0
        """When the limit of the latest activation is reached, on the bench's clock."""
        self._latest_ma = 0.0
        self._unseen_s = 0.0
        """How far from `on_since_s` RF may have come on."""

    @cached_property
    def protections(self) -> Protections:
        """Those of the linked analyzer, without what a person does."""
        linked = Protections() if self._linked is None else self._linked.protections
        return protections_by_hand(linked, self.by_hand)

    @property
    def dating_s(self) -> float:
        """How far the age of a reading may be off, in s, in the latest activation."""
        look_s = 0.0 if self._typed is None else self._typed.look_s / 2
        return self._unseen_s + look_s

    @property
    def typed_s(self) -> float | None:
        """When a reading was typed last; None where none is typed, or none was."""
        return None if self._typed is None else self._typed.typed_s

    @property
    def digit_ma(self) -> float:
        """The coarsest last digit of the latest activation's readings."""
        return self.data.meter.resolution_ma if self._typed is None else self._typed.digit_ma

    def sent_limit_s(self, limit_s: float) -> float | None:
        """The limit that ON would carry; None for a foot switch."""
        return None if self._foot is not None else self._by_line.sent_limit_s(limit_s)

    def begin_run(self) -> None:
        """Have the next reading asked for, however lately the meter was read."""
        if self._typed is not None:
            self._typed.begin()

    async def identify(self) -> str:
        """What the linked analyzer says it is; else the label, which nothing has read."""
        return self._label if self._linked is None else await self._linked.identify()

    async def set_load(self, load_ohm: float) -> None:
        """Have the load resistance connected; a person is asked once for each change.

        Raises, as `switch_on` does, what a person said while that RF is off was not known yet.
        """
        self._heed_what_was_said()
        if "load" not in self.by_hand:
            self.load_ohm = None
            await self._by_line.set_load(load_ohm)
            self.load_ohm = load_ohm
        elif load_ohm != self.load_ohm:
            await self._operator.carry_out(ConnectLoad(load_ohm))
            self.load_ohm = load_ohm
            if self._linked is not None:
                self._linked.load_ohm = load_ohm

    async def load_connected_ohm(self) -> float | None:
        """The load resistance that a line says is connected; None where a person connects it."""
        return None if "load" in self.by_hand else await self._by_line.load_connected_ohm()

    async def set_path(self, path: InputPath) -> None:
        """Join the input by command; where a person joins it, the engine asks them."""
        await self._by_line.set_path(path)

    async def set_contact_resistance(self, resistance_ohm: float) -> None:
        """Connect a resistance between the halves of the neutral electrode, by hand or command."""
        if "contact" in self.by_hand or self._linked is None:
            await self._operator.carry_out(ConnectContact(resistance_ohm))
        else:
            await self._linked.set_contact_resistance(resistance_ohm)

    async def switch_on(self, limit_s: float) -> None:
        """Have the foot switch pressed, or send ON; with a line, return when a current is read."""
        self._heed_what_was_said()
        if self._typed is not None:
            self._typed.begin()
        self._latest_ma, self._unseen_s, self.on_since_s = 0.0, 0.0, None
        if self._foot is None:
            await self._by_line.switch_on(limit_s)
            self.on_since_s = self._by_line.on_since_s
            self._until_s = self._clock.now_s() + limit_s
            return
        await self._foot.press(limit_s)
        self.on_since_s, self._until_s = self._clock.now_s(), self._clock.now_s() + limit_s
        self._unseen_s = _PRESS_S
        if self._typed is None:
            await self._see_it_come()

    def _heed_what_was_said(self) -> None:
        """Raise what was said instead of a typed reading with RF off: RF must not come on first."""
        if self._typed is not None:
            self._typed.raise_postponed()

    async def _see_it_come(self) -> None:
        """Wait for the first current; what counts as ON is the last reading without one."""
        meter, asked_s = self.data.meter, self._clock.now_s()
        end_s, unseen_s = asked_s + _NO_OUTPUT_AFTER_S, _PRESS_S
        while self._clock.now_s() < end_s:
            self.on_since_s, asked_s = asked_s, self._clock.now_s()
            if (await self.fetch_current()).current_ma > meter.largest_zero_ma:
                self._unseen_s = unseen_s
                return
            unseen_s = 1 / meter.readings_per_s + self._clock.now_s() - asked_s
            await self._clock.sleep(1 / meter.readings_per_s)

    async def switch_off(self) -> None:
        """Tell the person to release the foot switch, or send OFF."""
        self._until_s = 0.0  # what is typed from now on is to show that RF is off
        if self._foot is None:
            await self._by_line.switch_off()
        else:
            await self._foot.release()

    async def output_on(self) -> bool:
        """Whether the output reads on; keyed by foot, whether as much current flows as before.

        A reading that was partly taken after the switch was let go is small, and so is the next.
        """
        if self._foot is None:
            return await self._by_line.output_on()
        meter, before_ma = self.data.meter, self._latest_ma
        if self._typed is None:
            await self._clock.sleep(meter.window_s + 1 / meter.readings_per_s)
            await self.fetch_current()
        least_ma = max(meter.largest_zero_ma, _FALLEN * before_ma)
        return self._latest_ma > least_ma

    async def fetch_current(self) -> Reading:
        """The latest reading of the load current, typed or asked for."""
        if self._typed is not None:
            return await self._type("current", self._typed)
        return self._noted(await self._by_line.fetch_current())

    async def fetch_leakage(self) -> Reading:
        """The latest reading of the HF leakage current, typed or asked for."""
        if self._typed is None:
            return await self._by_line.fetch_leakage()
        return await self._type("HF leakage current", self._typed)

    async def _type(self, quantity: str, typed: TypedMeter) -> Reading:
        if not self._rf_wanted:
            reading = await typed.read_off()
        else:
            reading = await typed.read(quantity, self._until_s)
        return self._noted(reading)

    def _noted(self, reading: Reading) -> Reading:
        if not isnan(reading.current_ma):  # without a figure it says nothing of the foot switch
            self._latest_ma = reading.current_ma
        return reading

    @property
    def _rf_wanted(self) -> bool:
        """Whether RF is to be on: between ON, or the press, and OFF, or the call to release."""
        if self._foot is not None:
            return self._foot.may_be_pressed and not self._foot.told_to_release
        return self._clock.now_s() < self._until_s

    async def glance(self) -> tuple[bool, float]:
        """As by line; off and 0 for what only a person could read, which arouses no suspicion."""
        if self._linked is None or (self._typed is not None and self._foot is not None):
            return False, 0.0
        if self._typed is not None:
            return await self._linked.output_on(), 0.0
        if self._foot is None:
            return await self._linked.glance()
        return False, (await self._linked.fetch_current()).current_ma

    async def left_s(self) -> float | None:
        """Seconds left of the limit sent with ON; None for a foot switch."""
        return None if self._foot is not None else await self._by_line.left_s()

    async def capture_waveform(self) -> WaveformCapture:
        """The waveform of the linked analyzer."""
        return await self._by_line.capture_waveform()

    async def begin_watch(self, silent_s: float = 0.0) -> None:
        """Have the guard watch, where the analyzer keys; it waits for a person who types."""
        if self._foot is None:
            typing_s = 0.0 if self._typed is None else self.data.load_bank.max_on_s
            await self._by_line.begin_watch(silent_s + typing_s)

    async def end_watch(self) -> None:
        """End the watch, or note that the foot switch is up: no current was read after OFF."""
        if self._foot is None:
            await self._by_line.end_watch()
        else:
            self._foot.note_up()
        self._until_s = 0.0

    async def until_failed(self) -> None:
        """Return when the line has failed, where there is one."""
        if self._linked is None:
            await super().until_failed()
        else:
            await self._linked.until_failed()

    async def reconnect(self) -> bool:
        """Whether the linked analyzer was found again."""
        return self._linked is not None and await self._linked.reconnect()

    async def prove_watchdog(self) -> GuardProof | None:
        """The guard's proof, where the analyzer keys the output by command."""
        return None if self._foot is not None else await self._by_line.prove_watchdog()

    @property
    def _by_line(self) -> Analyzer:
        if self._linked is None:
            raise OutOfCapability(
                "Nothing reaches the analyzer over a line.",
                "A person does what is in by_hand of the bench file, and no more.",
                "Leave out the step, or add what is missing to by_hand.",
            )
        return self._linked
