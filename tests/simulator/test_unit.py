"""One unit: its trims, and that its seed decides everything."""

import numpy as np
import pytest
from pydantic import ValidationError

from ohmwright.simulator.output_stage import TRUE, current_ma
from ohmwright.simulator.profile import GeneratorProfile
from ohmwright.simulator.unit import TrimEffect, Unit


def current_at_trim(profile: GeneratorProfile, unit: Unit, point: str, moved: int) -> float:
    """Current at the point on an otherwise true unit, in mA."""
    physics = next(each for each in profile.physics.points if each.name == point)
    trim = unit.trims[point]
    factor = trim.factor(trim.start_counts + moved)
    mode = profile.data.mode(trim.mode)
    assert mode is not None
    limits = unit.limits(trim.mode, mode.max_setting_w)
    return current_ma(limits, physics.load_ohm, TRUE._replace(**{trim.sense: factor}))


def test_a_count_moves_the_current_by_its_size(quillon: GeneratorProfile) -> None:
    signs = set()
    for seed in range(12):
        unit = Unit.build(quillon, seed, 24.0)
        for physics in quillon.physics.points:
            up = current_at_trim(quillon, unit, physics.name, 1)
            down = current_at_trim(quillon, unit, physics.name, -1)
            low, high = physics.ma_per_count
            assert 0.98 * low <= abs(up - down) / 2 <= 1.02 * high
            signs.add(np.sign(up - down))
    assert signs == {-1.0, 1.0}


def test_each_trim_moves_its_own_gain_only(quillon: GeneratorProfile) -> None:
    unit = Unit.build(quillon, 5, 24.0)
    start = {name: trim.start_counts for name, trim in unit.trims.items()}
    for name, trim in unit.trims.items():
        moved = {**start, name: trim.start_counts + 30}
        for mode in unit.modes:
            before, after = unit.trimmed_gains(mode, start), unit.trimmed_gains(mode, moved)
            changed = [s for s in before._fields if getattr(before, s) != getattr(after, s)]
            assert changed == ([trim.sense] if mode == trim.mode else [])


def test_a_coupled_trim_moves_another_gain_by_its_share(quillon: GeneratorProfile) -> None:
    data = quillon.model_dump()
    data["physics"]["points"][2]["coupling"] = {"cut current": 0.4, "coag power": -0.5}
    unit = Unit.build(GeneratorProfile.model_validate(data), 5, 24.0)
    trim = unit.trims["cut power"]
    start = {name: each.start_counts for name, each in unit.trims.items()}
    moved = {**start, "cut power": trim.start_counts + 30}
    factor = trim.factor(moved["cut power"])
    shares = {("cut", "phase"): 1.0, ("cut", "current"): 0.4, ("coag", "phase"): -0.5}
    for mode in unit.modes:
        before, after = unit.trimmed_gains(mode, start), unit.trimmed_gains(mode, moved)
        for sense in before._fields:
            ratio = getattr(after, sense) / getattr(before, sense)
            assert ratio == pytest.approx(factor ** shares.get((mode, sense), 0.0))


@pytest.mark.parametrize("named", ["cut power", "no such point"])
def test_a_coupling_names_other_points(quillon: GeneratorProfile, named: str) -> None:
    data = quillon.model_dump()
    data["physics"]["points"][2]["coupling"] = {named: 0.4}
    with pytest.raises(ValidationError, match="must name other points"):
        GeneratorProfile.model_validate(data)
    data["physics"]["points"][2]["coupling"] = {}
    data["data"]["service"]["points"][2]["also_moves"] = [named]
    with pytest.raises(ValidationError, match="cannot also move"):
        GeneratorProfile.model_validate(data)


def test_curvature_is_bounded_and_keeps_the_sign() -> None:
    trim = TrimEffect("cut", "current", 10, 1e-3, 0.2, {})
    logs = np.log([trim.factor(counts) for counts in range(-1000, 1001)])
    size = np.diff(logs)
    assert size.min() == pytest.approx(0.8e-3, rel=1e-2)
    assert size.max() == pytest.approx(1.2e-3, rel=1e-2)
    assert trim.factor(10) == 1.0


def test_seed_decides(quillon: GeneratorProfile) -> None:
    assert Unit.build(quillon, 4, 24.0) == Unit.build(quillon, 4, 24.0)
    assert Unit.build(quillon, 4, 24.0) != Unit.build(quillon, 5, 24.0)


def test_a_dead_trim_does_nothing(quillon: GeneratorProfile) -> None:
    data = quillon.model_dump()
    data["physics"]["points"][0]["ma_per_count"] = (0.0, 0.0)
    unit = Unit.build(GeneratorProfile.model_validate(data), 1, 24.0)
    assert unit.trims["cut current"].factor(500) == 1.0


def test_coarse_keys_differ_from_unit_to_unit(quillon: GeneratorProfile) -> None:
    drawn = {Unit.build(quillon, seed, 0.0).coarse_counts for seed in range(60)}
    assert drawn == {10, 11, 12, 13, 14}


def test_nominal_current(quillon: GeneratorProfile) -> None:
    unit = Unit.build(quillon, 1, 0.0)
    assert current_ma(unit.limits("cut", 310), 100) == pytest.approx(900, rel=1e-3)
