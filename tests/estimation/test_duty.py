"""The mean power over the last minutes."""

import pytest

from ohmwright.estimation.duty import Duty


def test_running_at_the_share_for_ever_is_just_borne() -> None:
    duty = Duty(400.0, 0.25)
    for _ in range(500):
        duty = duty.after(400.0, 2.0).after(0.0, 6.0)
    assert duty.utilisation == pytest.approx(1.0, abs=0.03)


def test_a_rest_makes_room_for_just_so_much() -> None:
    duty = Duty(400.0, 0.25).after(300.0, 60.0)
    rest_s = duty.rest_s(300.0, 10.0)
    assert rest_s > 0
    assert duty.after(0.0, rest_s).after(300.0, 10.0).utilisation == pytest.approx(1.0)
    assert duty.after(0.0, rest_s).rest_s(300.0, 10.0) == pytest.approx(0.0, abs=1e-9)


def test_a_cold_bench_and_a_small_power_need_none() -> None:
    assert Duty(400.0, 0.25).rest_s(300.0, 10.0) == 0.0
    assert Duty(400.0, 0.25).after(90.0, 1e4).rest_s(90.0, 10.0) == 0.0
