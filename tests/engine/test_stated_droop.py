"""An output that sinks by more than the generator's data say: told once, and rests are whole."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from ohmwright.engine.session import Session
from ohmwright.engine.stated_droop import StatedDroop, sunk_by
from ohmwright.model.event import Commented
from ohmwright.model.result import Sample
from ohmwright.model.step import Timing

from .conftest import MeterKind

AT_AGE_S, REST_S = 6.0, 25.0
LEAKAGE = [Sample(0.1 * n, 19.0 if n in range(34, 36) or n > 40 else 20.0) for n in range(45)]
"""In mA, by a meter of 1 mA: it did not sink by more than a digit."""


def sinking(loss: float, noise: float = 0.002, overshoot_s: float = 0.5) -> list[Sample]:
    """From 500 mA, after a rise that overshoots by 6 %, down by `loss` within 12 s."""
    age_s = np.arange(0.5, 15.0, 0.25)
    noisy = 1 + noise * np.random.default_rng(1).normal(size=age_s.size)
    overshoot = 0.06 * np.exp(-age_s / overshoot_s)
    course = 1 - loss * np.clip((age_s - 3.0) / 12.0, 0.0, 1.0) + overshoot
    return [Sample(age, 500 * now) for age, now in zip(age_s, course * noisy, strict=True)]


def test_what_sank_is_the_loss_from_the_highest_median() -> None:
    assert sunk_by([one.current_ma for one in sinking(0.04, noise=0.0)], 0.0) == pytest.approx(
        0.04, abs=0.01
    )
    rises_first = [*np.linspace(450.0, 500.0, 11), *[500.0] * 5, *[480.0] * 5]
    assert sunk_by(rises_first, 0.0) == pytest.approx(0.04)
    assert sunk_by([500.0] * 9, 0.0) == 0.0  # too few
    assert sunk_by([0.0] * 20, 0.0) == 0.0


def test_an_ordinary_droop_contradicts_nothing() -> None:
    assert StatedDroop(0.0125, 1.0).finding(sinking(0.0125), AT_AGE_S) == ""
    assert StatedDroop(0.0125, 1.0).finding(sinking(0.0125, overshoot_s=1.0), AT_AGE_S) == ""
    assert StatedDroop(None, 1.0).finding(sinking(0.04), AT_AGE_S) == ""


def test_a_digit_of_a_small_current_is_no_loss() -> None:
    """A leakage of 20 mA that read 19 at its end had made every rest of a job a whole one."""
    assert sunk_by([one.current_ma for one in LEAKAGE], 1.0) == 0.0
    assert StatedDroop(0.015, 1.0).finding(LEAKAGE, AT_AGE_S) == ""
    assert StatedDroop(0.015, 0.01).finding(LEAKAGE, AT_AGE_S) != ""


def test_a_session_allows_for_the_digit_of_its_meter(make_rig: Callable[..., Any]) -> None:
    session = Session(
        make_rig(meter=MeterKind(readings_per_s=10, window_s=0.25, resolution_ma=1.0)).bench
    )
    session.note_droop(LEAKAGE, AT_AGE_S)
    assert not any(isinstance(one, Commented) for one in session.pending.take())


def test_a_contradiction_is_told_once() -> None:
    stated = StatedDroop(0.0125, 1.0)
    told = stated.finding(sinking(0.04), AT_AGE_S)
    assert "droops by 1.25 % at most" in told
    assert stated.finding(sinking(0.04), AT_AGE_S) == ""


@pytest.mark.parametrize(("loss", "told"), [(0.01, 0), (0.05, 1)])
def test_rests_are_whole_once_the_data_are_contradicted(
    make_rig: Callable[..., Any], loss: float, told: int
) -> None:
    session, timing = Session(make_rig().bench), Timing(age_s=AT_AGE_S, rest_s=REST_S)
    session.note_droop(sinking(loss), AT_AGE_S)
    session.warmth.add_activation(0.0, 10.0, 100.0)
    rest_s = session.warmth.rest_s(10.0, timing, 100.0, tolerance=0.5)
    assert (rest_s == REST_S) is bool(told)
    assert len([one for one in session.pending.take() if isinstance(one, Commented)]) == told
