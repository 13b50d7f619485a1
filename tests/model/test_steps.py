"""Step kinds, their points, and the decision rule they take from their procedure."""

from math import sqrt
from pathlib import Path

import pytest

from ohmwright.engine.procedure import Procedure
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.model.decision import GuardBand, SimpleAcceptance
from ohmwright.model.errors import ProcedureError

HEAD = 'title = "t"\nrevision = "1"\nmodel = "m"\n'
LEAKAGE = """
[[step]]
kind = "leakage"
name = "bipolar"
mode = "bipolar"
setting_w = 80
"""
CURVES = """
[[step]]
kind = "half_and_full"
name = "curves"
mode = "cut"
setting_w = 300
loads_ohm = [100, 500]
full_w = [80, 300]
half_w = [70, 150]
"""
CONTROL = """
[[step]]
kind = "monotonicity"
name = "control"
mode = "cut"
load_ohm = 500
settings_w = [10, 100, 300]
"""


@pytest.fixture
def read(tmp_path: Path):
    def read(text: str) -> Procedure:
        path = tmp_path / "p.toml"
        path.write_text(HEAD + text, encoding="utf-8")
        return read_procedure(path).procedure

    return read


def test_bipolar_leakage_is_a_share_of_rated_power(read) -> None:
    (point,) = read(LEAKAGE + "rated_power_w = 80").step[0].points()
    # 1 % of 80 W in 200 ohm
    assert point.target.upper == pytest.approx(1000 * sqrt(0.8 / 200), rel=1e-12)
    assert point.target.one_sided


@pytest.mark.parametrize("limits", ["", "limit_ma = 100\nrated_power_w = 80"])
def test_leakage_has_exactly_one_limit(read, limits: str) -> None:
    with pytest.raises(ProcedureError, match="exactly one of limit_ma and rated_power_w"):
        read(LEAKAGE + limits)


def test_half_and_full_take_every_load_twice_and_a_band_of_a_fifth(read) -> None:
    points = read(CURVES).step[0].points()
    assert [(p.name, p.setting_w, p.target.value) for p in points] == [
        ("full 100 ohm", 300, 80),
        ("full 500 ohm", 300, 300),
        ("half 100 ohm", 150, 70),
        ("half 500 ohm", 150, 150),
    ]
    assert (points[1].target.lower, points[1].target.upper) == (240, 360)


def test_a_curve_has_one_value_a_load(read) -> None:
    with pytest.raises(ProcedureError, match="half_w has 1 values for 2 loads_ohm"):
        read(CURVES.replace("half_w = [70, 150]", "half_w = [70]"))
    with pytest.raises(ProcedureError, match="3 values for 2 loads_ohm; a number has a point, as"):
        read(CURVES.replace("half_w = [70, 150]", "half_w = [70, 150,5]"))


def test_a_curve_names_each_load_once(read) -> None:
    with pytest.raises(ProcedureError, match="loads_ohm names 100 ohm twice"):
        read(CURVES.replace("loads_ohm = [100, 500]", "loads_ohm = [100, 100.0]"))


def test_settings_of_the_control_rise(read) -> None:
    assert read(CONTROL).step[0].point_names() == ("10 W", "100 W", "300 W")
    with pytest.raises(ProcedureError, match="settings_w must rise"):
        read(CONTROL.replace("100, 300", "300, 300"))


def test_a_crest_factor_is_tolerated_in_percent(read) -> None:
    crest = CONTROL.replace("monotonicity", "crest_factor").replace(
        "settings_w = [10, 100, 300]", "setting_w = 100\ncrest_factor = 5\n"
    )
    (point,) = read(crest + "tolerance = { percent = 10 }").step[0].points()
    assert (point.target.lower, point.target.upper, point.target.unit) == (4.5, 5.5, "")
    with pytest.raises(ProcedureError, match="absolute_w given for crest_factor; use percent"):
        read(crest + "tolerance = { absolute_w = 1 }")


def test_a_step_decides_as_its_procedure_unless_it_says_otherwise(read) -> None:
    own = LEAKAGE + 'limit_ma = 100\ndecision = { rule = "simple acceptance" }\n'
    procedure = read('[decision]\nrule = "guard band"\nmultiple = 0.83\n' + CURVES + own)
    curves, leakage = procedure.step
    guard = GuardBand(rule="guard band", multiple=0.83)
    assert {point.decision for point in curves.points()} == {guard}
    assert leakage.points()[0].decision == SimpleAcceptance()
    assert read(CURVES).step[0].points()[0].decision == SimpleAcceptance()


@pytest.mark.parametrize("rule", ['"4:1"', '"2 % false accept"'])
def test_a_rule_on_the_width_of_the_tolerance_is_refused_for_leakage(read, rule: str) -> None:
    text = f"[decision]\nrule = {rule}\n" + LEAKAGE + "limit_ma = 100"
    with pytest.raises(ProcedureError, match=r"needs two limits .* give step 'bipolar' a decision"):
        read(text)


def test_an_unknown_rule_names_the_nearest(read) -> None:
    with pytest.raises(ProcedureError, match=r"p\.toml:5:1: .*nearest valid rule is 'simple"):
        read('[decision]\nrule = "hopeful acceptance"\n' + CURVES)
