"""How RF is switched off: OFF sent, read back as off, whoever cancels, and bounded in time."""

from __future__ import annotations

from functools import partial
from typing import NamedTuple

import anyio

from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import (
    LinkError,
    LinkLost,
    LinkTimeout,
    ReleaseNotConfirmed,
    Stopped,
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


class ConfirmedRelease(NamedTuple):
    """A release that was confirmed."""

    took_s: float
    """Seconds from OFF until the keying output read open."""
    stayed_closed: bool
    """Whether it read closed at least once after OFF."""


async def begin_off(bench: Bench) -> None:
    """See at first contact that nothing is on, release what is, and learn the meter's zero.

    A line that fails here raises its own LinkError: this program has switched nothing on.
    """
    await bench.analyzer.identify()
    if await bench.rf.evidence_on() is not None:
        await confirmed_release(bench)
    if await bench.rf.measure_zero() is not None:
        await confirmed_release(bench)
        await bench.rf.measure_zero()


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
        return await bench.rf.evidence_on() or await bench.rf.evidence_on_within(wait_s)
    return None


async def confirmed_release(bench: Bench, *, seen_to_flow: bool = False) -> ConfirmedRelease:
    """Send OFF and read the output back, whoever cancels how often, and bounded in time.

    `seen_to_flow`: whether a current was seen since ON. Raises ReleaseNotConfirmed when the contact
    does not read open, current still flows, or it is not the analyzer that was switched on that
    says so.
    """
    ended = await uncancellable(partial(_bounded_release, bench, seen_to_flow=seen_to_flow))
    if isinstance(ended, str):
        raise ReleaseNotConfirmed(
            f"RF MAY STILL BE ON: {ended}.",
            "The output could not be read back as off.",
            "Do not touch the electrodes or the load terminals. Switch the generator off at its "
            "mains switch now, then find out why.",
        )
    return ended


async def _bounded_release(bench: Bench, *, seen_to_flow: bool) -> ConfirmedRelease | str:
    for bound_s in (RELEASE_BOUND_S, LAST_LOOK_S):
        with anyio.move_on_after(bound_s, shield=True):
            return await _release(bench, seen_to_flow=seen_to_flow)
    return "the time for it ran out"


async def _release(bench: Bench, *, seen_to_flow: bool) -> ConfirmedRelease | str:
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
            still = await rf.evidence_on()
            if took_s is None and not rf.contact_closed:
                took_s = clock.now_s() - begun_s
            if still is None and not seen_to_flow:
                still = await rf.evidence_on_within(_ANSWERS_IN_S)
            if still is None:
                await analyzer.identify()  # what read off is what was switched on
                await analyzer.end_watch()
                return ConfirmedRelease(took_s or 0.0, stayed_closed)
            problem, stayed_closed = still or problem, stayed_closed or rf.contact_closed
        except LinkTimeout as silent:
            problem = silent.happened.rstrip(".")
            # its guard may be what hangs: another one takes the port, where there are guards
            await analyzer.reconnect()
        except LinkLost as lost:
            problem = lost.happened.rstrip(".")
            if not await analyzer.reconnect():
                return problem
            continue
        except LinkError as error:
            problem = error.happened.rstrip(".")
        await clock.sleep(_BETWEEN_TRIES_S)
    return problem
