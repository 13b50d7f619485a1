"""RF at one bench as it was last read, with the meter's own zero as the limit for a current."""

from __future__ import annotations

from datetime import timedelta
from math import isnan
from typing import Literal

from ohmwright.model.bench_status import RfState
from ohmwright.model.errors import OhmwrightError
from ohmwright.model.hardware import LONGEST_HOLD_S
from ohmwright.model.rf_state import RfTracker
from ohmwright.wire.clock import Clock

from .analyzer import Analyzer, Reading
from .plausible_current import is_plausible

_LOOK_EVERY_S = 0.5
_ZERO_READINGS = 5
ABOVE_ZERO_DIGITS = 3
"""Above what the meter shows with the output off, in digits, a current is RF."""
_ZERO_AT_MOST = 0.01
"""Of a meter's range: more than that is no zero of a meter that works."""


class RfMonitor:
    """Reads RF and keeps what was read; nothing is concluded from anything but a reading.

    A current counts as none where it is no more than the meter shows with the output off, and three
    digits; nor where it is no more than the zero that the analyzer's data state.
    """

    def __init__(self, analyzer: Analyzer, clock: Clock) -> None:
        self._analyzer, self._clock = analyzer, clock
        self._state = RfTracker()
        self.contact_closed = False
        """Whether the analyzer's keying output read closed when it was last asked."""
        self.limit_runs = False
        """Whether its limit still counted down when it was last asked."""
        self.reading: Reading | None = None
        """What the meter gave then; None where it was not asked, as RF was on anyway."""
        self.may_be_zero = False
        """Whether what was last read as RF is a small current, and no zero is stated."""
        self.off_since_s: float | None = None
        """When it was first read as off and as nothing else since, in s of the bench's clock; None
        where it is not read as off."""
        self.last_off_s: float | None = None
        """When off was last read, or seen at a glance; None before, and where it is no proof."""
        self.off_after_warning = ""
        """What a person was told when RF that they had been warned of read off, by which RF is not
        keyed again before they say so; empty where nobody was warned, or they have said so."""
        self._zero_ma: float | None = None
        self._read_s: float | None = None
        self._scale_seen = False
        """Whether a current was read with RF on that setting and load can have driven."""

    @property
    def proves_off(self) -> bool:
        """Whether off, when it is read, is proved.

        Where a foot switch keys the output, the meter alone shows that: it must have shown, since
        the bench was opened, that its readings are of the size of the currents that flow.
        """
        return self._scale_seen or not self._analyzer.keyed_by_foot

    def note_current(self, current_ma: float, due_ma: float) -> None:
        """Take a reading made with RF on, of a current of which about `due_ma` is due."""
        self._scale_seen = self._scale_seen or is_plausible(current_ma, due_ma)

    @property
    def read_ago_s(self) -> float:
        """How long ago an instrument read RF, or a person typed a reading, in s; 0 before that.

        In a rest that is how long ago somebody looked: with typed readings nobody does.
        """
        by_eye = self._analyzer.read_by_eye
        read_s = self._analyzer.typed_s if by_eye else self._read_s
        return 0.0 if read_s is None else self._clock.now_s() - read_s

    @property
    def state(self) -> Literal["off", "on", "unknown"]:
        """RF as last read; `unknown` before, while it is read, after ON, and not proved off."""
        return self._state.reading

    @property
    def shown(self) -> RfState:
        """RF as last read, as it is to be shown: an off that is not proved is told from unknown."""
        return "not proved" if self._state.is_unproved else self._state.reading

    @property
    def told(self) -> str:
        """One sentence that tells a person what is known of RF."""
        return self._state.text()

    @property
    def is_left_on(self) -> bool:
        """Whether ON may have been sent, or RF was found on, since it was last read as off."""
        return self._state.may_be_on

    @property
    def zero_limit_ma(self) -> float:
        """The largest current in mA that counts as none."""
        meter = self._analyzer.data.meter
        if self._zero_ma is None:
            return meter.largest_zero_ma
        measured_ma = self._zero_ma + ABOVE_ZERO_DIGITS * meter.resolution_ma
        return measured_ma if meter.zero_ma is None else max(measured_ma, meter.zero_ma)

    async def evidence_on(self) -> str | None:
        """Read state, limit and current; what shows that RF is on, None where it is off."""
        self._state.begin_reading()
        self.reading, self.may_be_zero = None, False
        if self._analyzer.keyed_by_foot:
            problem = await self._current_flows()
            if problem is None and (blind := await self._load_is_gone()):
                self.set_unknown()
                return blind
        else:
            problem = (
                await self._contact_reads_closed()
                or await self._limit_runs()
                or await self._current_flows()
            )
        self._read_s = self._clock.now_s()
        if problem is None:
            self._set_off()
            if self.off_since_s is None:
                self.off_since_s = self._clock.now_s()
        else:
            self._set_on()
        return problem

    async def evidence_on_within(self, within_s: float) -> str | None:
        """What shows that RF comes on within `within_s` seconds; None where it stays off."""
        end_s = self._clock.now_s() + within_s
        while (left_s := end_s - self._clock.now_s()) > 0:
            await self._clock.sleep(min(left_s, _LOOK_EVERY_S))
            if (problem := await self.found_on()) is not None:
                return problem
        return None

    async def found_on(self) -> str | None:
        """What shows that RF is on, read only where a glance suspects it; None where it is off."""
        return await self.evidence_on() if await self.may_be_on() else None

    async def may_be_on(self) -> bool:
        """Whether a glance at state and current suspects RF; `evidence_on` then has to read it."""
        try:
            on, current_ma = await self._analyzer.glance()
        except OhmwrightError:
            return True
        self._read_s = self._clock.now_s()
        is_on = on or current_ma > self.zero_limit_ma
        if not is_on and self.proves_off:
            self.last_off_s = self._read_s
        return is_on

    def set_unknown(self) -> None:
        """Keep that RF may be on: something is about to be sent that may switch it on.

        Or what was read as off may not be what was switched on.
        """
        self.off_since_s, self.may_be_zero = None, False
        self._state.set_unknown()

    def _set_off(self) -> None:
        if not self.proves_off:
            self._state.set_unproved()
            return
        self.last_off_s = self._read_s
        read_at = self._clock.wall() - timedelta(seconds=self.read_ago_s)
        self._state.set_off(read_at, as_told=self._analyzer.read_by_eye)

    def _set_on(self) -> None:
        self.off_since_s = None
        self._state.set_on()

    async def measure_zero(self) -> str | None:
        """Read what the meter shows with the output off, and keep it as its zero.

        Returns what is wrong where the meter shows more than a zero can be; else None.
        """
        meter = self._analyzer.data.meter
        if self._analyzer.read_by_eye:  # what was typed a moment ago, or what is asked for now
            shown = [(await self._analyzer.fetch_current()).current_ma]
        else:
            shown = [await self._next_current_ma() for _ in range(_ZERO_READINGS)]
        largest_ma = max((current for current in shown if not isnan(current)), default=0.0)
        if largest_ma > meter.largest_zero_ma:
            self._set_on()
            return self._flows(largest_ma)
        self._zero_ma = largest_ma
        return None

    async def _next_current_ma(self) -> float:
        await self._clock.sleep(1 / self._analyzer.data.meter.readings_per_s)
        return (await self._analyzer.fetch_current()).current_ma

    async def _contact_reads_closed(self) -> str | None:
        self.contact_closed = await self._analyzer.output_on()
        return "the analyzer's keying output reads closed" if self.contact_closed else None

    async def _limit_runs(self) -> str | None:
        """Evidence that the limit still counts down: then the analyzer keys, whatever its state."""
        left_s = await self._analyzer.left_s()
        self.limit_runs = left_s is not None and left_s > 0
        if left_s is None or not left_s > 0:
            return None
        return f"the keying output reads open, yet {left_s:.1f} s of a limit are still running"

    async def _current_flows(self) -> str | None:
        self.reading = await self._figure()
        current_ma = self.reading.current_ma
        # what is no number is no current either: the meter has nothing to show
        return self._flows(current_ma) if current_ma > self.zero_limit_ma else None

    async def _load_is_gone(self) -> str | None:
        """Why no current says nothing of RF that a foot may keep on: the load was disconnected.

        As by a restart of the analyzer, or at its panel.
        """
        if not self._state.may_be_on or (load_ohm := self._analyzer.load_ohm) is None:
            return None
        other_ohm = await self._analyzer.other_load_ohm(load_ohm)
        if other_ohm is None:
            return None
        return (
            f"no current is read, and {other_ohm:g} ohm reads back in place of {load_ohm:g} "
            "ohm: RF may be on without one"
        )

    async def _figure(self) -> Reading:
        """The next reading; where the meter alone shows RF, the next that it has, for a moment."""
        analyzer, end_s = self._analyzer, self._clock.now_s() + LONGEST_HOLD_S
        reading = await analyzer.fetch_current()
        alone = analyzer.keyed_by_foot and not analyzer.read_by_eye
        while alone and isnan(reading.current_ma) and self._clock.now_s() < end_s:
            await self._clock.sleep(1 / analyzer.data.meter.readings_per_s)
            reading = await analyzer.fetch_current()
        return reading

    def _flows(self, current_ma: float) -> str:
        if self._analyzer.keyed_by_foot:
            return f"the meter shows {current_ma:g} mA"
        meter = self._analyzer.data.meter
        self.may_be_zero = meter.zero_ma is None and current_ma <= (
            _ZERO_AT_MOST * meter.max_current_ma
        )
        limit = f", where at most {self.zero_limit_ma:g} mA counts as none"
        return f"{current_ma:g} mA read with the keying output open{limit * self.may_be_zero}"
