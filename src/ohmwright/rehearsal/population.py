"""The units of a rehearsal: seeds, and the ranges that the records of a fleet suggest."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from math import exp, log, sqrt

import numpy as np

from ohmwright.model.errors import UsageError
from ohmwright.model.event import Event, PointDone, PointLearned
from ohmwright.model.hardware import Sense
from ohmwright.model.run_diagnoses import newest_diagnoses
from ohmwright.simulator.profile import Ageing, GeneratorProfile, PointPhysics

_FEWEST = 3
"""From so many units on, records replace a model's range."""
_HALF_WIDTH = sqrt(3.0)
"""Half the width of a uniform range over its standard deviation."""
_LARGEST_LOG_GAIN = 0.5
_LEAST_S = 0.02
"""A lag or dead time is no shorter."""


def unit_seed(seed: int, unit: int) -> int:
    """Return the seed of the simulated bench of unit number `unit`, from the rehearsal's `seed`.

    The same for every number of workers: it is the state of the unit's own child of `seed`.
    """
    return int(np.random.SeedSequence(seed, spawn_key=(unit,)).generate_state(1)[0])


@dataclass
class _Seen:
    """What records say: of one unit, each diagnosis and adjusted point; of a model, each unit."""

    log_gains: dict[Sense, list[tuple[float, float]]] = field(default_factory=dict)
    """Logarithm of each sense gain as found, with its standard uncertainty."""
    counts_ma: dict[str, list[float]] = field(default_factory=dict)
    """Size of a count in mA, by adjustment point."""
    lags_s: list[float] = field(default_factory=list)
    dead_times_s: list[float] = field(default_factory=list)
    hunting: list[float] = field(default_factory=list)


def like_fleet(
    profile: GeneratorProfile, units: Iterable[Iterable[Sequence[Event]]]
) -> GeneratorProfile:
    """Return `profile` with the ranges of what was found of units of this model.

    `units`: for each, the events of its runs; it counts once, with the mean of what they found. A
    range becomes uniform with the mean and the standard deviation over the units; sense gains as
    found replace ageing, less the scatter that their own uncertainty explains. What fewer than
    three units tell stays as the model has it. Raises UsageError where neither gains nor lags are
    told.
    """
    seen = _Seen()
    for runs in units:
        own = _Seen()
        for events in runs:
            _add_run(own, events)
        _add_unit(seen, own)
    if len(seen.lags_s) < _FEWEST and all(len(g) < _FEWEST for g in seen.log_gains.values()):
        raise UsageError(
            f"The records tell too little of {profile.data.model}: a diagnosis or an adjustment of "
            f"{_FEWEST} units is needed.",
            do="Leave out --like: units are then drawn from the ranges of the model's data file.",
        )
    physics = profile.physics
    response = physics.response.model_copy(
        update={
            **_range("lag_s", seen.lags_s),
            **_range("dead_s", seen.dead_times_s),
            **_share("hunting_share", seen.hunting),
        }
    )
    ageing = physics.ageing.model_copy(
        update={s: _gains(v) for s, v in seen.log_gains.items() if len(v) >= _FEWEST}
    )
    points = tuple(_point(point, seen) for point in physics.points)
    known = physics.model_copy(update={"response": response, "ageing": ageing, "points": points})
    return profile.model_copy(update={"physics": known})


def _add_run(seen: _Seen, events: Sequence[Event]) -> None:
    targets_ma = {
        event.result.point: event.result.target.value
        for event in events
        if isinstance(event, PointDone) and event.result.stage == "adjust" and event.result.target
    }
    for one in (gain for diagnosis in newest_diagnoses(events) for gain in diagnosis.gains):
        if one.gain > 0:
            value = (log(one.gain), one.uncertainty / one.gain)
            seen.log_gains.setdefault(one.sense, []).append(value)
    for event in events:
        if isinstance(event, PointLearned):
            seen.lags_s.append(event.lag_s)
            seen.dead_times_s.append(event.dead_s)
            seen.hunting.append(event.hunting)
            target_ma = targets_ma.get(event.point)
            if target_ma is not None and event.gain_per_count != 0:
                size_ma = abs(event.gain_per_count) * target_ma
                seen.counts_ma.setdefault(event.point, []).append(size_ma)


def _add_unit(seen: _Seen, own: _Seen) -> None:
    """Add the mean of each figure of one unit."""
    for sense, gains in own.log_gains.items():
        value, uncertainty = np.mean(gains, axis=0)
        seen.log_gains.setdefault(sense, []).append((float(value), float(uncertainty)))
    for point, sizes_ma in own.counts_ma.items():
        seen.counts_ma.setdefault(point, []).append(float(np.mean(sizes_ma)))
    for of_model, of_unit in (
        (seen.lags_s, own.lags_s),
        (seen.dead_times_s, own.dead_times_s),
        (seen.hunting, own.hunting),
    ):
        if of_unit:
            of_model.append(float(np.mean(of_unit)))


def _share(name: str, values: Sequence[float]) -> dict[str, float]:
    return {name: float(np.mean(values))} if len(values) >= _FEWEST else {}


def _range(name: str, values: Sequence[float]) -> dict[str, tuple[float, float]]:
    if len(values) < _FEWEST:
        return {}
    mean, reach = float(np.mean(values)), _HALF_WIDTH * float(np.std(values, ddof=1))
    low = max(_LEAST_S, mean - reach)
    return {name: (low, max(low, mean + reach))}


def _gains(values: Sequence[tuple[float, float]]) -> Ageing:
    found = np.array([value for value, _ in values])
    unsure = np.array([uncertainty for _, uncertainty in values])
    variance = max(0.0, float(np.var(found, ddof=1) - np.mean(unsure**2)))
    mean, reach = float(np.mean(found)), _HALF_WIDTH * sqrt(variance)
    low, high = (
        float(np.clip(end, -_LARGEST_LOG_GAIN, _LARGEST_LOG_GAIN))
        for end in (mean - reach, mean + reach)
    )
    return Ageing(start=(low, high))


def _point(point: PointPhysics, seen: _Seen) -> PointPhysics:
    sizes = seen.counts_ma.get(point.name, [])
    if len(sizes) < _FEWEST:
        return point
    logs = np.log(sizes)
    mean, reach = float(np.mean(logs)), _HALF_WIDTH * float(np.std(logs, ddof=1))
    return point.model_copy(update={"ma_per_count": (exp(mean - reach), exp(mean + reach))})
