"""Foreign plants against closed forms and scipy, and a quick run of two worlds.

The references are `scipy.signal` (step responses, Welch's spectrum) and closed forms.
"""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import pairwise
from math import exp

import numpy as np
import pytest
from scipy.signal import TransferFunction, step, welch

from scripts.bench.figures import figures_in
from scripts.bench.worlds import __main__ as worlds
from scripts.bench.worlds.catalogue import WORLDS
from scripts.bench.worlds.disturbances import hunting, pink_noise
from scripts.bench.worlds.drawn import draw
from scripts.bench.worlds.driving import Stated
from scripts.bench.worlds.figures_of_world import COVERS, FALSE_ACCEPTS, OFF_MEAN, covers_well
from scripts.bench.worlds.rise import Rise, transfer_function
from scripts.bench.worlds.trim_laws import Backlash, TrimOfUnit, law_ma
from scripts.bench.worlds.unit import STEP_S, ForeignUnit
from scripts.bench.worlds.warmth import Warmth

BY_NAME = {world.name: world for world in WORLDS}


def unit_of(name: str, **changes):
    return replace(draw(BY_NAME[name], 1, 0)[0], **changes)


def quiet(name: str, **changes):
    silent = {"pink": 0.0, "meter_noise": 0.0, "digit_ma": 1e-9, "droop": 0.0, "outer_droop": 0.0}
    return ForeignUnit(unit_of(name, **{**silent, **changes}), np.random.default_rng(1))


@pytest.mark.parametrize("name", ["third order", "overshoot", "jump and creep"])
def test_rise_is_the_step_response_of_its_transfer_function(name) -> None:
    unit = unit_of(name, dead_s=0.4)
    rise = Rise(unit, STEP_S)
    output = np.array([rise.step(1.0) for _ in range(500)])
    time_s = np.arange(500) * STEP_S
    late = round(0.4 / STEP_S)
    _, expected = step(TransferFunction(*transfer_function(unit)), T=time_s)
    assert output[late:] == pytest.approx(expected[: 500 - late], abs=1e-9)
    assert not output[:late].any()


def test_three_equal_lags_in_closed_form() -> None:
    unit = unit_of("third order", lags_s=(0.5, 0.5, 0.5), dead_s=0.0)
    rise = Rise(unit, STEP_S)
    x = np.arange(300) * STEP_S / 0.5
    output = [rise.step(1.0) for _ in range(300)]
    assert output == pytest.approx(1 - np.exp(-x) * (1 + x + x**2 / 2), abs=1e-9)


def test_overshoot_is_that_of_its_damping() -> None:
    # second order: exp(-pi z / sqrt(1 - z^2)); a third pole so fast does not matter
    unit = unit_of("overshoot", lags_s=(0.5, 0.5, 0.005), damping=0.4, dead_s=0.0)
    rise = Rise(unit, STEP_S)
    most = max(rise.step(1.0) for _ in range(500))
    assert most - 1 == pytest.approx(exp(-np.pi * 0.4 / np.sqrt(1 - 0.4**2)), rel=0.01)


def test_pink_noise_falls_as_one_over_f_and_has_unit_deviation() -> None:
    rng = np.random.default_rng(3)
    density, traces = 0.0, [pink_noise(4096, rng) for _ in range(40)]
    for trace in traces:
        frequency, each = welch(trace, nperseg=1024)
        density = density + each
    inner = slice(5, 400)
    slope = np.polyfit(np.log(frequency[inner]), np.log(density[inner]), 1)[0]
    assert slope == pytest.approx(-1, abs=0.05)
    assert np.sqrt(np.mean(np.square(traces))) == pytest.approx(1, abs=0.1)


def test_backlash_loses_its_width_at_each_turn_round() -> None:
    screw = Backlash(4.0)
    assert screw.turn_to(1.5) == 0.0
    assert screw.turn_to(10.0) == 8.0
    assert screw.turn_to(7.0) == 8.0
    assert screw.turn_to(5.0) == 7.0
    up = Backlash(4.0).turn_to(10.0)
    there_and_back = Backlash(4.0)
    for counts in (20.0, 10.0):
        down = there_and_back.turn_to(counts)
    assert down - up == 4.0


@pytest.mark.parametrize("law", ["fading trim", "logarithmic trim", "rippled trim", "keys"])
def test_a_law_has_its_gain_at_the_start_and_one_sign_everywhere(law) -> None:
    unit = unit_of(law, gain_ma=2.0, start_ma=500.0)
    slope = (law_ma(unit, 1e-4) - law_ma(unit, -1e-4)) / 2e-4
    assert law_ma(unit, 0.0) == 0.0
    assert slope == pytest.approx(2.0, rel=1e-3)
    values = [law_ma(unit, c) for c in range(-60, 61)]
    assert all(after > before for before, after in pairwise(values))


def test_a_relaxing_trim_shows_too_much_first() -> None:
    trim = TrimOfUnit(unit_of("relaxing trim", relaxing=0.2, relaxing_tau_s=3.0, gain_ma=1.0))
    trim.move(10)
    assert trim.change_ma == pytest.approx(12.0)
    trim.pass_time(3.0)
    assert trim.change_ma == pytest.approx(10 + 2 * exp(-1))


def test_bodies_are_warm_through_at_steady_output_and_cold_after_long() -> None:
    warmth = Warmth(unit_of("droop 5 %"))
    for _ in range(20_000):
        warmth.step(1.0, 0.1)
    assert (warmth.inner, warmth.outer) == pytest.approx((1.0, 1.0), rel=0.01)
    warmth.rest(30.0)
    # the inner body is soon no warmer than what the outer one feeds back
    assert 0.2 < warmth.inner < 0.5
    warmth.rest(3000.0)
    assert warmth.inner < 0.01


@pytest.mark.parametrize("shape", ["hunting 3 %, square", "hunting 3 %, two periods"])
def test_hunting_swings_as_far_as_drawn_about_its_mean(shape) -> None:
    unit = unit_of(shape, hunting=0.03, hunting_period_s=4.0)
    swing = hunting(unit, np.arange(0, 4000, 0.05), np.random.default_rng(2))
    assert abs(np.mean(swing)) < 5e-4
    assert 0.027 < np.max(np.abs(swing)) <= 0.03 + 1e-12


def test_teeter_dwells_as_long_as_drawn() -> None:
    unit = unit_of("teeter 0.8 %", hunting_period_s=4.0)
    swing = hunting(unit, np.arange(0, 20_000, 0.1), np.random.default_rng(2))
    changes = np.count_nonzero(np.diff(swing))
    assert 20_000 / changes == pytest.approx(4.0, rel=0.05)


@pytest.mark.parametrize(("world", "age_s"), [("nominal, foreign", 6), ("age 2 s", 2)])
def test_truth_is_what_a_quiet_cold_unit_shows_at_the_age_asked_for(
    world: str, age_s: float
) -> None:
    plant = quiet(
        world,
        droop=0.01,
        outer_droop=0.003,
        lags_s=(0.2, 0.02, 0.01),
        dead_s=0.1,
        window_s=0.02,
    )
    plant.move(7)
    truth_ma = plant.truth_ma()
    plant.activate(20.0)
    readings = []
    while plant.next_age_s() < 15:
        readings.append(plant.read())
    shown = np.interp(age_s, *np.array(readings).T)
    # the rise shortens the time that the unit had to warm
    assert shown == pytest.approx(truth_ma, rel=1.5e-3)
    assert readings[-1][1] < shown


def test_meter_shows_the_root_of_the_mean_square_in_its_digits() -> None:
    plant = quiet("nominal, foreign", hunting=0.0, window_s=1.0, digit_ma=5.0)
    plant.activate(20.0)
    while plant.next_age_s() < 15:
        _, shown = plant.read()
    assert shown % 5 == 0
    assert shown == pytest.approx(plant.truth_ma(), abs=2.5)


def test_readings_that_nobody_takes_are_gone() -> None:
    plant = quiet("meter 1 Hz")
    plant.activate(20.0)
    plant.skip_until(5.5)
    assert 5.5 <= plant.next_age_s() < 6.5


def test_the_error_at_the_confirmation_is_that_of_the_state_it_stood_in() -> None:
    """Two states 0.8 % to both sides of the mean, each left after hours."""
    plant = quiet("teeter 0.8 %", hunting_period_s=1e6, target_ma=500.0, tolerance_ma=5.0)
    plant.activate(20.0)
    plant.skip_until(9.0)
    apart = plant.error_then_tolerances() - plant.error_tolerances()
    assert abs(apart) == pytest.approx(0.008 * plant.truth_ma() / 5.0)


def test_a_wrong_verdict_is_told_from_an_undecided_one() -> None:
    assert Stated("pass", "", 1.2, None).wrong
    assert Stated("fail", "", 0.8, None).wrong
    assert not Stated("undecided", "", 1.2, None).wrong
    assert not Stated("pass", "", 0.8, None).wrong


def test_coverage_has_two_bars() -> None:
    assert [covers_well(share) for share in (0.92, 0.95, 1.0)] == [False, True, False]
    assert covers_well(float("nan")) is None


def test_a_quick_run_of_two_worlds(monkeypatch, capsys) -> None:
    two = (BY_NAME["nominal, foreign"], BY_NAME["keys"])
    monkeypatch.setattr(worlds, "WORLDS", two)
    monkeypatch.setattr("sys.argv", ["worlds", "--units", "2", "--jobs", "1"])
    worlds.main()
    said = capsys.readouterr().out
    figures = figures_in(said)
    for world in (*(world.name for world in two), "all worlds"):
        assert f"{world}: {FALSE_ACCEPTS}" in figures
        assert f"{world}: {OFF_MEAN}" in figures
    assert json.loads(said.splitlines()[-1])["units"] == 2
    assert figures[f"keys: {COVERS}"] <= 1


def test_an_unknown_world_is_refused(monkeypatch) -> None:
    monkeypatch.setattr("sys.argv", ["worlds", "--only", "nowhere"])
    with pytest.raises(SystemExit, match="no world is called 'nowhere'"):
        worlds.main()
