"""The output within an activation against closed forms."""

from dataclasses import replace
from math import exp, sqrt

import numpy as np
import pytest

from ohmwright.simulator.dynamics import OutputDynamics
from ohmwright.simulator.randomness import Randomness
from ohmwright.simulator.unit import ResponseParameters

TICK_S = 0.05
UNIT = ResponseParameters(
    dead_s=0.33,
    lag_s=0.6,
    second_lag_s=0.12,
    droop=0.012,
    droop_tau_s=8.0,
    recovery_tau_s=15.0,
    noise=0.0,
    noise_correlation_s=0.2,
    hunting=0.0,
    hunting_period_s=5.0,
)


def transient(unit: ResponseParameters = UNIT) -> OutputDynamics:
    draws = Randomness(1, "test")
    return OutputDynamics(
        unit,
        tick_s=TICK_S,
        reading_s=0.1,
        normals=draws.normals("noise"),
        uniforms=draws.uniforms("hunting"),
    )


def step_response(t: float, unit: ResponseParameters = UNIT) -> float:
    """Two lags in a row, after the dead time."""
    t -= unit.dead_s
    if t <= 0:
        return 0.0
    a, b = unit.lag_s, unit.second_lag_s
    return 1 - (a * exp(-t / a) - b * exp(-t / b)) / (a - b)


def drooped(t: float, unit: ResponseParameters = UNIT) -> float:
    return 1 - unit.droop * (1 - exp(-t / unit.droop_tau_s))


def tick_mean(of: "object", start_s: float) -> float:
    times = start_s + TICK_S * (np.arange(400) + 0.5) / 400
    return float(np.mean([of(t) for t in times]))  # type: ignore[operator]


def test_means_of_ticks() -> None:
    output = transient()
    output.start(800.0)
    means = [mean for _ in range(100) for mean in output.run(2)]
    expected = [
        tick_mean(lambda t: 800 * step_response(t) * drooped(t), TICK_S * i) for i in range(200)
    ]
    assert means == pytest.approx(expected, rel=2e-5, abs=2e-3)


def test_a_change_within_a_tick_and_two_at_once() -> None:
    """Superposition of steps, each a dead time after it was wanted."""
    unit = replace(UNIT, droop=0.0)
    output = transient(unit)
    output.start(500.0)
    changes = [(2.017, 560.0), (2.018, 540.0)]
    means = []
    for i in range(100):
        for age_s, target in changes:
            if TICK_S * 2 * i <= age_s < TICK_S * 2 * (i + 1):
                output.retarget(age_s, target)
        means += output.run(2)

    def expected(t: float) -> float:
        return (
            500 * step_response(t, unit)
            + 60 * step_response(t - 2.017, unit)
            - 20 * step_response(t - 2.018, unit)
        )

    wanted = [tick_mean(expected, TICK_S * i) for i in range(200)]
    assert means == pytest.approx(wanted, rel=2e-5, abs=2e-3)


@pytest.mark.parametrize("second", [0.0, 0.1, 0.999])
def test_second_lag_of_any_size(second: float) -> None:
    unit = replace(UNIT, second_lag_s=second * UNIT.lag_s, droop=0.0)
    output = transient(unit)
    output.start(100.0)
    last = [output.run(2) for _ in range(12)][-1][-1]
    if second == 0:
        wanted = tick_mean(lambda t: 1 - exp(-(t - unit.dead_s) / unit.lag_s), 1.15)
    else:
        wanted = tick_mean(lambda t: step_response(t, unit), 1.15)
    assert last == pytest.approx(100 * wanted, rel=1e-4)


def test_current_at_an_instant() -> None:
    output = transient()
    output.start(800.0)
    output.run(10)
    before = output.age_s
    for age_s in (0.5, 0.777, 3.0):
        wanted = 800 * step_response(age_s) * drooped(age_s)
        assert output.at(age_s) == pytest.approx(wanted, rel=1e-9)
    assert output.age_s == before  # looking changes nothing


def test_droop_recovers_in_rest() -> None:
    output = transient()
    output.start(100.0)
    output.run(200)
    warm = 1 - exp(-10.0 / 8)
    assert output.warmth == pytest.approx(warm, rel=1e-9)
    output.rest(30.0)
    output.start(100.0)
    assert output.warmth_at_start == pytest.approx(warm * exp(-2), rel=1e-9)
    assert output.drooped(6.0, output.warmth_at_start) == pytest.approx(
        1 - 0.012 * (1 - (1 - warm * exp(-2)) * exp(-6 / 8)), rel=1e-9
    )


def test_stop_within_a_tick_counts_the_rest_as_zero() -> None:
    unit = replace(UNIT, dead_s=0.0, lag_s=1e-6, second_lag_s=0.0, droop=0.0)
    output = transient(unit)
    output.start(100.0)
    assert output.run_to(0.12) == pytest.approx([100, 100, 40], rel=1e-3)


def test_noise_is_ar1() -> None:
    unit = replace(UNIT, noise=0.003, noise_correlation_s=0.2)
    output = transient(unit)
    output.start(100.0)
    noise = []
    for _ in range(60_000):
        output.run(0)
        noise.append(output.noise)
    x = np.array(noise)
    phi = exp(-0.1 / 0.2)
    assert np.std(x) == pytest.approx(0.003, rel=0.03)
    for lag in (1, 2, 3):
        r = float(np.corrcoef(x[:-lag], x[lag:])[0, 1])
        assert r == pytest.approx(phi**lag, abs=4 / sqrt(len(x)) * 2)


def test_hunting_swings_slowly() -> None:
    unit = replace(UNIT, hunting=0.004, droop=0.0)
    output = transient(unit)
    output.start(1000.0)
    output.run(200)
    settled = np.array(output.run(200))
    assert settled.max() == pytest.approx(1004, abs=0.1)
    assert settled.min() == pytest.approx(996, abs=0.1)
    late = np.array(output.run(100))
    assert late == pytest.approx(settled[:100], abs=0.05)  # two periods of 5 s later
