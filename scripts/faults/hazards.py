"""RF that no fault of a line keeps on: an OFF without effect, a pedal held, a welded contact."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from functools import partial
from typing import Any

from .judge import Log
from .rig import Case, Rig, made
from .row import Row
from .tally import Tally

_OFF = b"OUTPut:STATe OFF"
_ON = b"OUTPut:STATe ON,"
_LATE_S = 0.1
_SEEN_WITHIN_S = 12.0
"""From RF unasked to its being said: a look a second, and a release that is tried in vain.

What strikes in an activation is seen at its end.
"""


def rows(seed: int, reduced: bool) -> Iterator[Row]:
    """Each hazard, at many places of a run."""
    yield _off_without_effect(seed, reduced)
    yield _pedal(seed, reduced)
    yield _welded(seed, reduced)


def _off_without_effect(seed: int, reduced: bool) -> Row:
    """From the Nth OFF on none opens the contact: the limit does, which must not pass for OFF."""
    tally = Tally("OFF without effect", "python scripts/faults --only hazards  #")
    case = Case("low", seed)
    for at in range(1, _count(case, _OFF) + 1, 13 if reduced else 1):
        outcome = _outcome(case, partial(_Deaf, at=at))
        repeated = outcome["struck_off"]  # an OFF that only repeats one is not missed
        announced = ("ReleaseNotConfirmed", "OffNotProved")
        outcome["undetected"] |= not repeated and outcome["error"] not in announced
        tally.take({"fault": f"OFF:{at}", **outcome})
    return tally.row()


def _pedal(seed: int, reduced: bool) -> Row:
    """Somebody steps on the pedal at some pause and stays on it."""
    tally = Tally("pedal held", "python scripts/faults --only hazards  #")
    case = Case("low", seed)
    pauses = _pauses(case)
    for at in range(pauses // 50, pauses * 9 // 10, max(1, pauses // (4 if reduced else 120))):
        outcome = _outcome(case, partial(_Pedal, at=at))
        outcome["undetected"] |= outcome["error"] != "ReleaseNotConfirmed"
        tally.take({"fault": f"pause:{at}", **outcome})
    return tally.row()


def _welded(seed: int, reduced: bool) -> Row:
    """The contact welds in the Nth activation, at once or after a while, at 3 W."""
    tally = Tally("contact welded at 3 W", "python scripts/faults --only hazards  #")
    case = Case("low", seed)
    for at in range(1, _count(case, _ON) + 1, 11 if reduced else 1):
        for after_s in (0.0, 0.5, 3.0):
            outcome = _outcome(case, partial(_Weld, at=at, after_s=after_s))
            if after_s and not outcome["struck"]:
                continue  # the activation was over before
            # the proofs of OFF and limit refuse the bench by themselves
            announced = ("ReleaseNotConfirmed", "OffNotProved", "OutOfCapability")
            outcome["undetected"] |= outcome["error"] not in announced
            tally.take({"fault": f"ON:{at}+{after_s:g} s", **outcome})
    return tally.row()


class _Hazard:
    """Something that is done to a rig while it runs."""

    struck_s: float | None = None
    struck_off = False
    """Whether RF was off when it struck."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig

    def pause(self) -> None:
        """At every pause."""


class _Deaf(_Hazard):
    def __init__(self, rig: Rig, at: int) -> None:
        super().__init__(rig)
        port, self._left = rig.lines["analyzer"]._port, at

        def deaf(line: bytes) -> bytes:
            if line.startswith(_OFF):
                self._left -= 1
                if self._left <= 0:
                    if self.struck_s is None:
                        self.struck_s, self.struck_off = rig.clock.now_s(), not rig.rf_on
                    return b""
            return port(line)

        rig.lines["analyzer"]._port = deaf


class _Pedal(_Hazard):
    def __init__(self, rig: Rig, at: int) -> None:
        super().__init__(rig)
        self._left = at

    def pause(self) -> None:
        self._left -= 1
        if self._left == 0:
            self.struck_s = self.rig.clock.now_s()
            self.rig.hardware.panel.pedal(down=True)


class _Weld(_Hazard):
    def __init__(self, rig: Rig, at: int, after_s: float) -> None:
        super().__init__(rig)
        self._at, self._after_s = at, after_s

    def pause(self) -> None:
        on = self.rig.hardware.truth.rf_on_intervals
        if self.struck_s is not None or len(on) != self._at or on[-1][1] is not None:
            return
        if self.rig.clock.now_s() >= on[-1][0] + self._after_s:
            self.struck_s = self.rig.clock.now_s()
            self.rig.hardware.defects.contact_welded = True


def _outcome(case: Case, make: Callable[[Rig], _Hazard]) -> dict[str, Any]:
    hazards: list[_Hazard] = []

    def on_pause() -> None:
        for hazard in hazards:
            hazard.pause()

    rig = made(case, on_pause=on_pause)
    rig.clock.bound_s = 3600.0
    hazards.append(make(rig))
    log = Log()
    asyncio.run(log.keep(rig, rig.work()))
    struck_s, end_s = hazards[0].struck_s, rig.clock.now_s()
    on, claims_off = rig.hardware.truth.rf_on, rig.bench.rf.state == "off"
    late = struck_s is not None and on and end_s - struck_s > _SEEN_WITHIN_S + case.longest_s
    bounded = not isinstance(hazards[0], _Pedal | _Weld)
    overrun = bounded and rig.overrun_s() > _LATE_S
    return {
        "left_on": overrun or late,
        "wrong": on and claims_off,
        "struck": struck_s is not None,
        "undetected": struck_s is None,
        "struck_off": hazards[0].struck_off,
        "hang": end_s > 3600.0,
        "how": f"{log.error}; RF read {rig.bench.rf.state}, is {'on' if on else 'off'}"[:300],
        "error": type(log.error).__name__ if log.error is not None else "",
    }


def _count(case: Case, message: bytes) -> int:
    """How often a sound run sends `message`."""
    sent: list[bytes] = []
    rig = made(case, on_message=lambda _, line: sent.append(line))
    asyncio.run(Log().keep(rig, rig.work()))
    return sum(line.startswith(message) for line in sent)


def _pauses(case: Case) -> int:
    """How many pauses a sound run has."""
    counted: list[None] = []
    rig = made(case, on_pause=lambda: counted.append(None))
    asyncio.run(Log().keep(rig, rig.work()))
    return len(counted)
