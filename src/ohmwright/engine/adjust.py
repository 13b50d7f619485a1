"""One adjustment point: measure, move the trim, measure again, until the reading confirms."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence

from ohmwright.model.event import (
    ActivationClosed,
    ActivationOpened,
    Event,
    PointDone,
    TrimMoved,
    TrimsStored,
)
from ohmwright.model.hardware import GeneratorData
from ohmwright.model.procedure import AdjustStep, Timing
from ohmwright.model.tolerance import Target

from .measure import Observation, observe
from .secant import Seen, next_move
from .session import Session

_MOST_MOVES = 8
_LARGEST_MOVE_COUNTS = 80
_GOOD_ENOUGH = 0.5
"""A landing within this part of the tolerance is not improved further."""
_NO_EFFECT = 0.1
"""Two settled currents nearer than this part of the tolerance show no effect of a move."""


async def adjust_point(session: Session, step: AdjustStep, timing: Timing) -> AsyncIterator[Event]:
    """Adjust `step.point`; the trim goes back to its start when it cannot be brought in.

    Each measurement is a rested activation of its own and the trim moves with RF off, so
    every value holds at the age that the procedure states.
    """
    generator, point = session.bench.generator, step.points()[0]
    await session.bench.analyzer.set_path("OUTPUT")
    start = trim = await generator.enter_service(step.point)
    history: list[Seen] = []
    while True:
        yield ActivationOpened(**session.stamp(), load_ohm=step.load_ohm, limit_s=timing.max_on_s)
        seen = await observe(
            session,
            point,
            power_w=full_power_w(generator.data, step.point),
            timing=timing,
            fetch=session.bench.analyzer.fetch_current,
        )
        yield ActivationClosed(**session.stamp(), on_s=seen.on_s)
        if seen.measured is None:
            break
        history.append(Seen(trim, seen.measured.value))
        counts = _counts_to_move(history, point.target, seen, _probe(session))
        if counts == 0:
            break
        trim = await generator.move_trim(counts)
        yield TrimMoved(
            **session.stamp(), point=step.point, counts=counts, current_ma=seen.measured.value
        )
    if seen.verdict == "pass":
        await generator.store_trims()
        yield TrimsStored(**session.stamp())
    elif trim != start:
        trim = await generator.move_trim(start - trim)
    result = seen.result("adjust", step, point, start_trim=start, final_trim=trim)
    yield PointDone(**session.stamp(), result=result)


def full_power_w(generator: GeneratorData, point_name: str) -> float:
    """The most that service mode can put into a load at a point: its mode's full setting."""
    point = generator.point(point_name)
    modes = [mode for mode in generator.modes if point is None or mode.name == point.mode]
    return max(mode.max_setting_w for mode in modes or generator.modes)


def _probe(session: Session) -> int:
    service = session.bench.generator.data.service
    return 1 if service is None else max(1, round(service.coarse_counts))


def _counts_to_move(
    history: Sequence[Seen], target: Target, seen: Observation, probe_counts: int
) -> int:
    """The next move, or 0 when the point is good, beyond reach, or not answering."""
    error_ma = abs(history[-1].current_ma - target.value)
    good = seen.verdict == "pass" and error_ma <= _GOOD_ENOUGH * target.half_width
    if good or len(history) > _MOST_MOVES or _trim_is_dead(history, target):
        return 0
    return next_move(
        history,
        target.value,
        probe_counts=probe_counts,
        largest_counts=_LARGEST_MOVE_COUNTS,
    )


def _trim_is_dead(history: Sequence[Seen], target: Target) -> bool:
    """Whether moves so far changed nothing that can be told from noise."""
    if len({seen.trim for seen in history}) < 2:
        return False
    currents_ma = [seen.current_ma for seen in history]
    return max(currents_ma) - min(currents_ma) < _NO_EFFECT * target.half_width
