"""RF that nobody asked for: seen and ended at first contact, before ON, and after a fault."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import anyio

from ohmwright.instruments.bench import Bench
from ohmwright.model.bench_status import OnStatus
from ohmwright.model.errors import (
    InstrumentRefused,
    LinkTimeout,
    OhmwrightError,
    ReleaseNotConfirmed,
    RfUnsafe,
    Stopped,
    UnaskedOutput,
)
from ohmwright.model.event import UnaskedRf
from ohmwright.wire.off import ANSWER_WITHIN_S

from .pending_events import PendingEvents
from .release import KEYING_DELAY_S, MAINS_SWITCH, bound_s, confirmed_release, is_off_words
from .uncancellable import uncancellable


async def ensure_off_at_start(bench: Bench, pending: PendingEvents) -> None:
    """Check at first contact that RF is off, end it where it is on, and measure the meter's zero.

    RF that was ended is added to `pending`. Raises LinkError for a line that fails here, or is too
    slow for OFF, as this program has switched nothing on yet, and ReleaseNotConfirmed where OFF
    does not end RF.
    """
    bench.analyzer.begin_run()
    bench.rf.last_off_s = None  # nobody looked between the runs of one bench
    await bench.analyzer.identify()
    await end_unasked(await bench.rf.evidence_on(), bench, pending)
    shown = await bench.rf.measure_zero()
    if shown is not None:
        await end_unasked(shown, bench, pending)
        await bench.rf.measure_zero()
    late_s = await bench.analyzer.late_off_s()
    if late_s is not None:
        raise LinkTimeout(
            f"The analyzer takes {late_s:.2f} s to answer, too long for a safe OFF: its answer to "
            f"that is awaited for {ANSWER_WITHIN_S:g} s, whatever timeout_s says.",
            "OFF is sent again then, and late answers hide whether RF is off. Nothing was switched "
            "on.",
            "Make it answer sooner (baud rate, converter, its own display); where it can be told "
            "to switch off without an answer, give that as OFF in its command set.",
        )


async def refuse_unasked_output(bench: Bench) -> None:
    """Read RF before ON; where it is on though nobody asked, send OFF and raise UnaskedOutput.

    Raises ReleaseNotConfirmed when OFF does not end it.
    """
    problem = await bench.rf.found_on()
    if problem is None:
        return
    await confirmed_release(bench)
    raise unasked_output(bench, problem)


def unasked_output(bench: Bench, problem: str) -> UnaskedOutput:
    """Return the error for RF that was on, as `problem` showed, and was read off since."""
    seen_on = "said to be" if bench.analyzer.read_by_eye else "read as"
    return UnaskedOutput(
        f"RF was {seen_on} on though nobody had asked for it: {problem}.",
        f"{is_off_words(bench)}.",
        "Pedal, a second control, a contact that sticks? Find out before going on.",
    )


async def ensure_off_after(
    error: Exception, bench: Bench, pending: PendingEvents, on_status: OnStatus
) -> Exception:
    """Read RF after `error` and end it where it is on; return the error that the run ends by.

    That is `error`, or UnaskedOutput where an instrument refused something while RF was on, or
    ReleaseNotConfirmed where OFF did not end RF, or nothing was read since ON, or nobody says after
    a stop what a meter shows that is read by eye. RF that was ended is added to `pending`.
    `on_status` gets RF as it was read last, so that no view goes on showing what was read before.
    """

    def show() -> None:
        rf, on_s = bench.rf, pending.on_s
        status = bench.analyzer.status(rf.shown, bench.clock.now_s())._replace(on_s=on_s)
        on_at_s = None if rf.state == "off" else pending.on_at_s
        on_status(status._replace(read_ago_s=rf.read_ago_s, on_at_s=on_at_s))

    try:
        return await _ended_after(error, bench, pending, show)
    finally:
        show()


async def _ended_after(
    error: Exception, bench: Bench, pending: PendingEvents, show: Callable[[], None]
) -> Exception:
    if isinstance(error, RfUnsafe):  # it says already what RF was read as
        return error
    # a run that a person stops was released before; a fault may be RF that is just coming on
    wait_s = 0.0 if isinstance(error, Stopped) else KEYING_DELAY_S
    try:
        seen = await uncancellable(partial(_on_within_bound, bench, wait_s))
        if seen is not None:
            show()  # OFF takes a while, by a person's foot up to a minute
        await end_unasked(seen, bench, pending)
        if seen is not None and isinstance(error, InstrumentRefused):
            return _refused_with_rf_on(error, bench, seen)
    except ReleaseNotConfirmed as worse:
        return worse
    except Exception:  # even a crash in here must not hide `error`; what was read last stands
        return _nobody_says(error) if bench.analyzer.read_by_eye else _unread(error, bench)
    return error


async def end_unasked(seen: str | None, bench: Bench, pending: PendingEvents) -> None:
    """End RF that `seen` showed, where it did; add that, and how long it was on, to `pending`."""
    if seen is None:
        return
    before_s = bench.rf.last_off_s
    await confirmed_release(bench)
    off_s, on_s = bench.rf.off_since_s, None
    if before_s is not None and off_s is not None:
        on_s = round(off_s - before_s, 3)
        pending.on_s += on_s
    at, bench_s = bench.clock.wall(), round(bench.clock.now_s(), 6)
    pending.add(UnaskedRf(at=at, bench_s=bench_s, seen=seen, keyed_by=bench.keyed_by, on_s=on_s))


def _refused_with_rf_on(error: InstrumentRefused, bench: Bench, seen: str) -> UnaskedOutput:
    """Return what a run ends by of which an instrument refused something, as most do with RF on."""
    unasked = unasked_output(bench, f"{seen}; {error.happened.rstrip('.')}")
    unasked.__context__ = error
    return unasked


def _nobody_says(error: Exception) -> Exception:
    """Return what a run ends by that a person stopped without saying then what the meter shows."""
    if not isinstance(error, Stopped):
        return error
    return ReleaseNotConfirmed(
        "RF MAY STILL BE ON: nobody has said since the stop what the meter shows.",
        "Nothing else shows whether RF is on.",
        f"{MAINS_SWITCH} Then begin again.",
    )


def _unread(error: Exception, bench: Bench) -> Exception:
    """Return what a run ends by that `error` ended, after which RF could not be read any more."""
    if not bench.rf.is_left_on:
        return error
    happened = error.happened if isinstance(error, OhmwrightError) else repr(error)
    unread = ReleaseNotConfirmed(
        "RF MAY STILL BE ON: the output has not been read back as off.",
        f"It could not be read any more: {happened}",
        MAINS_SWITCH,
    )
    unread.__context__ = error  # the trace of a crash is written by it
    return unread


async def _on_within_bound(bench: Bench, wait_s: float) -> str | None:
    """Return what shows RF on, None where it is off. Raises TimeoutError where that stays open."""
    with anyio.fail_after(bound_s(bench), shield=True):
        return await bench.rf.evidence_on() or await bench.rf.evidence_on_within(wait_s)
