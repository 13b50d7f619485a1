"""The specification of an adjustment point: target, limits, keys, range and times."""

from __future__ import annotations

from dataclasses import replace

from ohmwright.adjustment.point import STATED_GAIN_RATIO, Expected, Keys, PointSpec
from ohmwright.estimation.settled_value import Settled
from ohmwright.instruments.generator import Generator
from ohmwright.model.hardware import DroopData, MeterData, ServiceMode, ServicePoint
from ohmwright.model.result import AMPLE_DOF
from ohmwright.model.step import Point, Timing

from .asked_current import question
from .judge import accepted_half_width
from .measured_value import Accuracy, linear_measured_value
from .prior_of_point import PriorOfPoint
from .session import Session
from .traceability import accuracy_at

_COARSE_SD = 0.13
"""Standard deviation of a coarse press, relative to the counts that the data give it."""
_AT_LIMIT = 0.95
"""Part of a mode's current limit from which a target is taken for the limit itself."""
_ABOVE_TARGET = 1.2
"""Most current over such a target to which a move may lead: units are found up to a tenth off, and
a first probe may be worth as much."""
_KEY_LARGEST_GAIN = 0.012
"""A count of a trim with keys moves the output by less than this part of its target; common
practice, no source. A first press that moves too little is one that the meter cannot show."""


def point_spec(
    session: Session, point: Point, timing: Timing, start: int, known: PriorOfPoint
) -> PointSpec:
    """Return what the adjusting policy must know of `point`; `start`: the trim's count now."""
    bench = session.bench
    data, service = bench.generator.data.point(point.name), bench.generator.data.service
    mode = None if data is None else bench.generator.data.mode(data.mode)
    return point_spec_of(
        point,
        timing,
        bench.analyzer.data.meter,
        accuracy_at(session, None if data is None else data.mode, point.load_ohm),
        keys=None if bench.generator.unattended or service is None else keys_of(service),
        reach=_range(bench.generator, data, start),
        moves_while_on=not session.trims_wait_for_rf
        and (service is None or service.moves_while_on),
        expected=known.expected,
        droop=bench.generator.data.droop,
        count_ma=None if data is None else data.count_ma,
        limit_ma=None if mode is None else mode.max_current_ma,
    )


def point_spec_of(
    point: Point,
    timing: Timing,
    meter: MeterData,
    accuracy: Accuracy | None,
    *,
    keys: Keys | None = None,
    reach: tuple[int, int] | None = None,
    moves_while_on: bool = True,
    expected: Expected | None = None,
    droop: DroopData | None = None,
    count_ma: float | None = None,
    limit_ma: float | None = None,
) -> PointSpec:
    """Return what the adjusting policy must know of `point`, from data alone.

    `reach`: the lowest and highest counts from the start; None where they are not known;
    `count_ma`: the most by which a count moves the current; `limit_ma`: the mode's current limit.
    """
    asked = question(point, timing, meter)
    accepted_ma = _accepted_ma(point, timing, accuracy)
    spec = PointSpec(
        question=replace(asked, limits=None, tolerance=accepted_ma),
        timeout_s=timing.max_on_s,
        rest_s=timing.rest_s,
        keys=keys,
        range=reach,
        moves_while_on=moves_while_on,
        highest=None if limit_ma is None else _highest_ma(asked.target, limit_ma),
        expected=expected,
        largest_droop=None if droop is None else droop.largest,
    )
    if count_ma is not None:
        most = STATED_GAIN_RATIO * count_ma
        spec = replace(spec, largest_gain=most, stated_gain=count_ma)
    if keys is None:
        return spec
    largest_gain = min(spec.largest_gain, _KEY_LARGEST_GAIN * point.target.value)
    return replace(spec, largest_gain=largest_gain)


def _highest_ma(target_ma: float, limit_ma: float) -> float:
    """Return the current that no move may lead beyond.

    What is asked for may be the mode's current limit itself, which is found on either side of it.
    """
    if target_ma < _AT_LIMIT * limit_ma:
        return limit_ma
    return _ABOVE_TARGET * min(target_ma, limit_ma)


def keys_of(service: ServiceMode) -> Keys:
    """Return a person's keys, as the service mode's data say what they are worth."""
    counts = max(1, round(service.coarse_counts))
    return Keys(coarse_counts=counts, coarse_sd=_COARSE_SD * counts)


def _accepted_ma(point: Point, timing: Timing, accuracy: Accuracy | None) -> float:
    """Return how far from the target a reading without scatter may lie and pass, in mA."""
    exact = Settled(point.target.value, 0.0, AMPLE_DOF, 0.0, settled=True)
    measured = linear_measured_value(exact, point.target.quantity, point.load_ohm, timing, accuracy)
    return accepted_half_width(measured, point.target, point.decision)


def _range(generator: Generator, data: ServicePoint | None, start: int) -> tuple[int, int] | None:
    """Return the trim's lowest and highest count from `start`; None where it is not known.

    A unit without a port does not say where its trim stands.
    """
    if data is None or not generator.unattended:
        return None
    return data.min_trim - start, data.max_trim - start
