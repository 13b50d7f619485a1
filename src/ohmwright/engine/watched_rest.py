"""Rests between activations, in which RF is watched to be off."""

from __future__ import annotations

from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.model.step import Timing

from .session import Session
from .unasked_rf import end_unasked, unasked_output

CHECK_EVERY_S = 1.0
"""Interval, in s, at which it is checked in a rest, or a question, that RF is off."""
UNASKED_AT_MOST = 3
"""Number of times that RF comes on unasked in one rest, or one question, which ends the run."""


async def rest(
    session: Session, timing: Timing, *, power_w: float, tolerance: float
) -> ResidualWarmth:
    """Wait until an activation at `power_w` may begin; return the warmth then left over.

    `tolerance`: narrower side of what the value is compared with, relative; 0 asks for the
    procedure's full rest. See `OutputWarmth.rest_s`. Where RF is found on, the rest begins anew.
    """
    clock = session.bench.clock
    rest_s = begin_rest(session, timing, power_w=power_w, tolerance=tolerance)
    await wait_with_rf_off(session, rest_s, again_s=timing.rest_s)
    return session.warmth.residual_warmth(clock.now_s(), timing.age_s)


def begin_rest(session: Session, timing: Timing, *, power_w: float, tolerance: float) -> float:
    """Return how long RF must stay off from now on; see `rest`.

    Whatever is waited for meanwhile, one count down to the end of that is shown.
    """
    now_s = session.bench.clock.now_s()
    rest_s = session.warmth.rest_s(now_s, timing, power_w, tolerance)
    session.warmth.rested_at_s = now_s + rest_s
    return rest_s


async def wait_with_rf_off(session: Session, wait_s: float, again_s: float = 0.0) -> None:
    """Wait `wait_s`, RF checked to be off once a second.

    Where it is on, OFF is sent, and `again_s` are waited from then on. Raises UnaskedOutput where
    it comes on again and again.
    """
    clock, rf, times_on = session.bench.clock, session.bench.rf, 0
    end_s = clock.now_s() + wait_s
    while (left_s := end_s - clock.now_s()) > 0:
        session.report(
            "off" if rf.proves_off else "not proved",
            session.target_band,
            read_ago_s=rf.read_ago_s,
            rest_left_s=max(left_s, session.warmth.rested_at_s - clock.now_s()),
        )
        await clock.sleep(min(left_s, CHECK_EVERY_S))
        if await end_unasked_output(session):
            times_on += 1
            if times_on >= UNASKED_AT_MOST:
                raise unasked_output(session.bench, f"{times_on} times in one rest")
            end_s = max(end_s, clock.now_s() + again_s)


async def confirm_nothing_flows(session: Session) -> None:
    """Check, after the input was joined to another circuit, that no current flows there.

    A current is ended by OFF and put on record. Raises ReleaseNotConfirmed when OFF does not end
    it.
    """
    meter = session.bench.analyzer.data.meter
    await session.bench.clock.sleep(meter.window_s + 1 / meter.readings_per_s)
    await end_unasked_output(session)


async def end_unasked_output(session: Session) -> str | None:
    """Send OFF if RF is on though nobody asked for it; return what showed that, None where off.

    Raises ReleaseNotConfirmed when OFF does not end it.
    """
    problem = await see_unasked_output(session)
    if problem is not None:
        await end_seen_output(session, problem)
    return problem


async def see_unasked_output(session: Session) -> str | None:
    """Show RF as on if it is on though nobody asked for it; return what showed that, else None."""
    problem = await session.bench.rf.found_on()
    if problem is not None:
        session.report("on")
    return problem


async def end_seen_output(session: Session, problem: str) -> None:
    """Send OFF for RF that `problem` showed. Raises ReleaseNotConfirmed when that does not end it.

    It is read back for some seconds.
    """
    await end_unasked(problem, session.bench, session.pending)
    session.warmth.unasked_off_s = session.bench.clock.now_s()
