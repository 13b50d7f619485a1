"""The two events around an activation, made while RF is off."""

from __future__ import annotations

from ohmwright.model.event import ActivationClosed, ActivationOpened

from .activation import refuse_unless_all_clear
from .session import Session


async def activation_opened(
    session: Session, *, load_ohm: float, limit_s: float, setting_w: float | None = None
) -> ActivationOpened:
    """Return the event to be kept before RF comes on; a load that a person sets is set before.

    After a warning that RF may be on, a person is asked before whether it may come on again.
    Its limit is the one that ON carries, `limit_s` rounded down to the command's digits; None where
    ON carries none.
    """
    session.last_on_s = 0.0  # until RF has come on: a request before it may be answered by a skip
    await refuse_unless_all_clear(session.bench)
    if "load" in session.bench.analyzer.by_hand:
        await session.bench.analyzer.set_load(load_ohm)
    return ActivationOpened(
        **session.stamp(),
        load_ohm=load_ohm,
        limit_s=session.bench.analyzer.sent_limit_s(limit_s),
        setting_w=setting_w,
        keyed_by=session.bench.keyed_by,
    )


def activation_closed(session: Session) -> ActivationClosed:
    """Return the event to be kept once RF has been read back as off, by line or by a person."""
    return ActivationClosed(
        **session.stamp(),
        on_s=round(session.last_on_s, 3),
        on_at_bench_s=round(session.last_on_at_s, 6) if session.last_on_s > 0 else None,
        off_told_by=session.bench.readings_told_by,
    )
