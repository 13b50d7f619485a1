"""Checks of settled values and verdicts from stored activations with a known output.

`scripts/make_transients.py` of the source generates them by integrating differential equations that
the estimator does not use.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import lru_cache, partial
from importlib.resources import files
from typing import Any

from ohmwright.engine.asked_current import question
from ohmwright.engine.point_measurement import Observation, is_decided, observation_of
from ohmwright.engine.stop_rules import UntilDecided, UntilSettled
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.model.hardware import MeterData
from ohmwright.model.step import Point, Timing
from ohmwright.model.tolerance import Allowance, Target, TwoSided, at_most, target_of

from .check import Check, clause_checks

_RESTED = ResidualWarmth()
_WITHIN, _FAR_WITHIN = 0.003, 0.01
"""Largest relative deviation of a value from the true one; the latter far from any limit, where
the verdict does not wait for a closer value."""


def checks() -> Iterator[Check]:
    """Yield checks of value and verdict of each activation, and one value without a target."""
    for name, what, verdict in (
        ("quick", "700 mA +-2 %", "pass"),
        ("slow", "700 mA +-2 %", "pass"),
        ("sagging", "500 mA +-1 %", "fail"),
        ("on the limit", "500 mA +-5.85 mA", "undecided"),
        ("leakage", "at most 150 mA", "pass"),
    ):
        truth_ma = _stored()["transients"][name]["truth_ma"]
        yield from clause_checks(
            *("numerical integration (scipy)", f"{name} output, {what}", "reference"),
            (
                "value, mA",
                truth_ma,
                (_FAR_WITHIN if name == "leakage" else _WITHIN) * truth_ma,
                partial(_value_ma, name),
            ),
            ("verdict", verdict, 0, partial(_verdict, name)),
        )
    truth_ma = _stored()["transients"]["slow"]["truth_ma"]
    yield from clause_checks(
        *("numerical integration (scipy)", "slow output, no target", "reference"),
        ("settled value, mA", truth_ma, _WITHIN * truth_ma, _settled_ma),
    )


@lru_cache(maxsize=1)
def _stored() -> dict[str, Any]:
    text = files(__package__).joinpath("data", "transients.json").read_text(encoding="utf-8")
    document: dict[str, Any] = json.loads(text)
    return document


def _target(name: str) -> Target:
    if name == "leakage":
        return at_most("current_ma", 150.0)
    if name == "sagging":
        return target_of("current_ma", 500.0, Allowance(percent=1))
    if name == "on the limit":
        side = Allowance(absolute_ma=5.85)
        return target_of("current_ma", 500.0, TwoSided(lower=side, upper=side))
    return target_of("current_ma", 700.0, Allowance(percent=2))


def _meter() -> MeterData:
    stored = _stored()
    return MeterData(
        max_current_ma=2000,
        resolution_ma=stored["resolution_ma"],
        readings_per_s=stored["readings_per_s"],
        window_s=stored["window_s"],
    )


@lru_cache(maxsize=8)
def _observation(name: str) -> Observation:
    """Return what a verification point finds in a stored activation, without a certificate."""
    timing = Timing(age_s=_stored()["at_age_s"])
    point = Point(name="check", load_ohm=200.0, target=_target(name))
    final = partial(is_decided, point=point, timing=timing, accuracy=None)
    stop_rule = UntilDecided(question(point, timing, _meter()), _RESTED, final)
    on_s = _read(stop_rule, name)
    settled = stop_rule.settled()
    assert settled is not None
    return observation_of(None, settled, point, timing, on_s, ())


def _read(stop_rule: UntilDecided | UntilSettled, name: str) -> float:
    """Pass readings to `stop_rule` until it needs no more; return the age of the last, s."""
    stored = _stored()["transients"][name]
    age_s = 0.0
    for age_s, current_ma in zip(stored["age_s"], stored["current_ma"], strict=True):
        if stop_rule.read(age_s, current_ma):
            break
    return age_s


def _value_ma(name: str) -> float:
    measured = _observation(name).measured
    assert measured is not None
    return measured.value


def _verdict(name: str) -> str:
    return _observation(name).verdict


def _settled_ma() -> float:
    meter = _meter()
    stop_rule = UntilSettled(_stored()["at_age_s"], meter.window_s, meter.resolution_ma, _RESTED)
    _read(stop_rule, "slow")
    settled = stop_rule.settled()
    assert settled is not None
    return settled.value
