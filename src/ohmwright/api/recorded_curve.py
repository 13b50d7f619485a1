"""The curve of a sweep, and each of its points, from the events on record."""

from __future__ import annotations

from collections.abc import Sequence

from ohmwright.engine.run_so_far import run_started_event
from ohmwright.model.errors import UsageError
from ohmwright.model.event import Event, PointDone
from ohmwright.model.result import latest
from ohmwright.model.traceability import Traceability

from .curve import Curve, CurveOrigin, CurvePoint
from .outlived_faults import outlived_faults
from .planned_sweep_points import planned_sweep_points


def curve_of(events: Sequence[Event]) -> Curve:
    """Return the curve of a sweep's events, whole or not. Raises UsageError where there is none."""
    started = run_started_event(events)
    done = [e for e in events if isinstance(e, PointDone) and e.result.sweep is not None]
    if started is None or not done:
        raise UsageError("This run has no point of a sweep.", do="Measure one first.")
    counted = {id(result) for result in latest(event.result for event in done)}
    points = tuple(curve_point(event) for event in done if id(event.result) in counted)
    traced = started.traceability
    ages_s = [point.power.age_s for point in points if point.power is not None]
    origin = CurveOrigin(
        run=started.run_id,
        asset=started.asset,
        analyzer=started.analyzer,
        certificate="" if traced is None else traced.certificate,
        software=started.software,
        begun_at=started.at,
        age_s=ages_s[0] if ages_s else None,
        seed=started.seed,
        planned=planned_sweep_points(events),
    )
    return Curve(points, origin, outlived=tuple(outlived_faults(events)))


def curve_point(event: PointDone) -> CurvePoint:
    """Return the point of a sweep that `event` says is done."""
    result = event.result
    assert result.sweep is not None  # the caller's own check
    traced = result.traceability
    settled = result.sweep.settled
    return CurvePoint(
        mode=result.mode or "",
        setting_w=result.setting_w or 0.0,
        load_ohm=result.load_ohm or 0.0,
        repeat=result.sweep.repeat,
        power=result.measured,
        current=result.sweep.current,
        settled=settled,
        reason="" if settled and traced != "not covered" else result.reason,
        certified=isinstance(traced, Traceability) and not traced.expired,
        on_s=result.on_s,
        at=event.at,
    )
