"""Streams by name."""

import pytest

from ohmwright.simulator.randomness import Randomness


def test_a_stream_depends_on_seed_and_name_alone() -> None:
    one = Randomness(5, "generator")
    assert one.between("lag", (0, 1)) == one.between("lag", (0, 1))
    assert one.under("a").between("b", (0, 1)) == Randomness(5, "generator", "a").between(
        "b", (0, 1)
    )
    values = [
        one.between("lag", (0, 1)),
        one.between("dead", (0, 1)),
        Randomness(6, "generator").between("lag", (0, 1)),
        Randomness(5, "analyzer").between("lag", (0, 1)),
    ]
    assert len(set(values)) == 4


def test_blocks_are_one_stream() -> None:
    draws = Randomness(1, "x").normals("noise")
    assert [next(draws) for _ in range(2500)] == pytest.approx(
        Randomness(1, "x").stream("noise").standard_normal(2500).tolist()
    )


def test_ranges() -> None:
    draws = [Randomness(seed, "x") for seed in range(200)]
    assert {one.integer("n", (8, 12)) for one in draws} == {8, 9, 10, 11, 12}
    assert {one.sign("s") for one in draws} == {-1.0, 1.0}
    assert 10 < sum(one.chance("c", 0.1) for one in draws) < 35
    logs = [one.log_between("g", (0.3, 6.0)) for one in draws]
    assert 0.3 <= min(logs) < 0.5
    assert 4 < max(logs) <= 6.0
