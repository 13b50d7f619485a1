"""The only way to switch RF on (rule 1), and the way it is always switched off again."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial
from typing import NamedTuple

import anyio

from ohmwright.instruments.analyzer import Analyzer
from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import (
    ExcessiveOutput,
    LinkError,
    LinkLost,
    LinkTimeout,
    OutOfCapability,
    ReleaseNotConfirmed,
    Stopped,
    UnaskedOutput,
)
from ohmwright.model.event import UnaskedRf

from .pending_events import PendingEvents
from .uncancellable import uncancellable

RELEASE_BOUND_S = 8.0
"""Longest time of the machine that a release may take; a fault cannot hold the clean-up up."""
LAST_LOOK_S = 3.0
"""What a last look may take after it: a process that was stopped meanwhile has not looked yet."""
_TRIES = 40
_BETWEEN_TRIES_S = 0.1
_ANSWERS_IN_S = 2.0
"""A generator that is keyed shows a current within this: its dead time and the meter's window."""
_EXCESS = 1.5
"""More than so many times what was asked is no creep: another mode or setting is chosen."""
_EXCESS_AT_LEAST_W = 3.0
"""Small settings may be off by this much more."""
_OVERLOAD = 1.1
"""More than so many times what the load bank bears, at one reading, is too much for it."""
_AT_THE_LIMIT_S = 0.1


class Activation:
    """An open activation: how old it is, what is left of its limit, what may flow."""

    def __init__(self, bench: Bench, *, load_ohm: float, power_w: float, limit_s: float) -> None:
        self._clock, self._load_ohm = bench.clock, load_ohm
        sent_s = bench.analyzer.sent_limit_s(limit_s)
        self.limit_s = limit_s if sent_s is None else sent_s
        """After so long it is over: by the analyzer's doing where ON carries a limit."""
        self._asked_w, self._rated_w = power_w, bench.analyzer.data.load_bank.max_power_w
        self._started_s = bench.clock.now_s()
        self.power_w: float | None = None
        """The largest power seen in the load so far."""
        self.flowed = False
        """Whether a current was seen."""
        self._none_below_ma = bench.rf.none_below_ma
        self.release_s: float | None = None
        """Seconds from OFF until the keying output read open; None before."""

    @property
    def age_s(self) -> float:
        """Seconds since the ON command was answered."""
        return self._clock.now_s() - self._started_s

    @property
    def left_s(self) -> float:
        """What is left of the limit."""
        return max(0.0, self.limit_s - self.age_s)

    def note_current(self, current_ma: float) -> None:
        """Take a reading of the load current.

        Raises ExcessiveOutput when far more power flows, P = I² R, than was asked for or
        than the load may bear.
        """
        power_w = (current_ma / 1000) ** 2 * self._load_ohm
        self.power_w = max(self.power_w or 0.0, power_w)
        self.flowed = self.flowed or current_ma > self._none_below_ma
        asked_w = max(_EXCESS * self._asked_w, self._asked_w + _EXCESS_AT_LEAST_W)
        if power_w > min(asked_w, _OVERLOAD * self._rated_w):
            raise ExcessiveOutput(
                f"{power_w:.0f} W flowed into {self._load_ohm:g} ohm where at most "
                f"{min(self._asked_w, self._rated_w):g} W was to flow.",
                "RF was switched off at that reading; no value was taken.",
                "Mode or setting on the panel? Look at both, and at the load, before going on.",
            )

    def restart(self) -> None:
        """Count from now: ON has been answered."""
        self._started_s = self._clock.now_s()


@asynccontextmanager
async def activation(
    bench: Bench, *, load_ohm: float, power_w: float, limit_s: float
) -> AsyncIterator[Activation]:
    """Switch RF on for the length of the block, never longer than `limit_s`.

    `power_w` is the most that the setting can put into the load. Raises OutOfCapability before
    anything is switched on, UnaskedOutput when RF was on before it was asked for, and
    ReleaseNotConfirmed when the output could not be read back as off or only the limit ended it.
    """
    refuse_overload(bench.analyzer, load_ohm=load_ohm, power_w=power_w, limit_s=limit_s)
    await refuse_unasked(bench)
    await bench.analyzer.set_load(load_ohm)
    opened = Activation(bench, load_ohm=load_ohm, power_w=power_w, limit_s=limit_s)
    try:
        await bench.analyzer.begin_watch()
        bench.rf.doubt()
        await bench.analyzer.switch_on(limit_s)
        opened.restart()
        yield opened
    finally:
        opened.release_s = await confirmed_release(bench, opened)


def refuse_overload(analyzer: Analyzer, *, load_ohm: float, power_w: float, limit_s: float) -> None:
    """Raise OutOfCapability unless load, power and time lie inside the analyzer's rating."""
    bank, contact = analyzer.data.load_bank, analyzer.data.activation
    problem = None
    if load_ohm not in bank.loads_ohm:
        problem = f"the load bank has no {load_ohm:g} ohm"
    elif power_w > bank.max_power_w:
        problem = f"{power_w:g} W is more than the load bank's {bank.max_power_w:g} W"
    elif limit_s > bank.max_on_s:
        problem = f"{limit_s:g} s is longer than the load bank's {bank.max_on_s:g} s"
    elif contact.max_limit_s is not None and limit_s > contact.max_limit_s:
        problem = f"{limit_s:g} s is more than the ON command can carry"
    if problem is not None:
        raise OutOfCapability(
            f"Activation refused: {problem}.",
            "RF stayed off.",
            "Correct the procedure or use another analyzer.",
        )


async def refuse_unasked(bench: Bench) -> None:
    """Raise UnaskedOutput when RF is on though nobody asked, and OFF ended it.

    Raises ReleaseNotConfirmed when it did not.
    """
    if not await bench.rf.seems_on() or (problem := await bench.rf.still_on()) is None:
        return
    await confirmed_release(bench)
    raise UnaskedOutput(
        f"RF was on though it had not been asked for: {problem}.",
        "OFF was sent, and it reads off now.",
        "Pedal, a second control, a contact that sticks? Find out before going on.",
    )


async def begin_off(bench: Bench) -> None:
    """See at first contact that nothing is on, release what is, and learn the meter's zero.

    A line that fails here raises its own LinkError: this program has switched nothing on.
    """
    await bench.analyzer.identify()
    if await bench.rf.still_on() is not None:
        await confirmed_release(bench)
    if await bench.rf.learn_zero() is not None:
        await confirmed_release(bench)
        await bench.rf.learn_zero()


async def off_after(error: Exception, bench: Bench, notes: PendingEvents) -> Exception:
    """Read RF after `error`, whatever it was, and end it where it is on.

    Returns what the run ends by: `error`, or a ReleaseNotConfirmed that came of it. A line that
    does not answer leaves RF unknown.
    """
    if isinstance(error, ReleaseNotConfirmed):
        return error
    # who stops a run has the last release to go by; a fault may be RF that is just coming on
    wait_s = 0.0 if isinstance(error, Stopped) else _ANSWERS_IN_S
    try:
        seen = await uncancellable(partial(_on_within_bound, bench, wait_s))
        if seen is not None:
            await confirmed_release(bench)
            at, bench_s = bench.clock.wall(), round(bench.clock.now_s(), 6)
            notes.add(UnaskedRf(at=at, bench_s=bench_s, seen=seen))
    except ReleaseNotConfirmed as worse:
        return worse
    except Exception:  # even a crash in here must not hide `error`; what was read last stands
        return error
    return error


async def _on_within_bound(bench: Bench, wait_s: float) -> str | None:
    with anyio.move_on_after(RELEASE_BOUND_S, shield=True):
        return await bench.rf.still_on() or await bench.rf.comes_on(wait_s)
    return None


async def confirmed_release(bench: Bench, opened: Activation | None = None) -> float:
    """Send OFF and read the output back, whoever cancels how often, and bounded in time.

    Returns the seconds from OFF until the keying output read open. Raises ReleaseNotConfirmed
    when the contact does not read open, current still flows, it is not the analyzer that was
    switched on that says so, or the limit of the activation `opened` ended it and OFF did not.
    """
    flowed = opened is not None and opened.flowed
    ended = await uncancellable(partial(_bounded_release, bench, seen_to_flow=flowed))
    if isinstance(ended, str):
        raise ReleaseNotConfirmed(
            f"RF MAY STILL BE ON: {ended}.",
            "The output could not be read back as off.",
            "Do not touch the electrodes or the load terminals. Switch the generator off at its "
            "mains switch now, then find out why.",
        )
    if opened is not None and ended.stayed_closed and opened.left_s < _AT_THE_LIMIT_S:
        raise ReleaseNotConfirmed(
            "OFF DOES NOT SWITCH OFF: the output stayed on after OFF and went off only at the "
            f"limit of {opened.limit_s:g} s sent with ON.",
            "It reads off now. Nothing but that limit would end the next activation.",
            "Do not go on with this bench: check 'off' in the analyzer's command set against its "
            "manual, then the analyzer.",
        )
    return ended.took_s


class _Ended(NamedTuple):
    took_s: float
    stayed_closed: bool
    """Whether it read on at least once after OFF."""


async def _bounded_release(bench: Bench, *, seen_to_flow: bool) -> _Ended | str:
    for bound_s in (RELEASE_BOUND_S, LAST_LOOK_S):
        with anyio.move_on_after(bound_s, shield=True):
            return await _release(bench, seen_to_flow=seen_to_flow)
    return "the time for it ran out"


async def _release(bench: Bench, *, seen_to_flow: bool) -> _Ended | str:
    """Try until off is confirmed; what is wrong when it could not be.

    A current that was seen to flow and is gone is proof. One that nobody saw may still be on its
    way: then it must stay away for as long as a unit takes to answer its key.
    """
    analyzer, clock, rf = bench.analyzer, bench.clock, bench.rf
    problem, begun_s, stayed_closed = "OFF was not sent", clock.now_s(), False
    took_s = None
    for _ in range(_TRIES):
        try:
            await analyzer.switch_off()
            still = await rf.still_on()
            if took_s is None and not rf.contact_closed:
                took_s = clock.now_s() - begun_s
            if still is None and not seen_to_flow:
                still = await rf.comes_on(_ANSWERS_IN_S)
            if still is None:
                await analyzer.identify()  # what read off is what was switched on
                await analyzer.end_watch()
                return _Ended(took_s or 0.0, stayed_closed)
            problem, stayed_closed = still or problem, stayed_closed or rf.contact_closed
        except LinkTimeout as silent:
            problem = silent.happened.rstrip(".")
            # its guard may be what hangs: another one takes the port, where there are guards
            await analyzer.found_again()
        except LinkLost as lost:
            problem = lost.happened.rstrip(".")
            if not await analyzer.found_again():
                return problem
            continue
        except LinkError as error:
            problem = error.happened.rstrip(".")
        await clock.sleep(_BETWEEN_TRIES_S)
    return problem
