"""Couplings come from what was seen of shifts and moves, and say in which order to adjust."""

from itertools import permutations

import numpy as np
import pytest

from ohmwright.adjustment.trim_coupling import (
    Shift,
    couplings,
    is_unfelt,
    order_of_adjusting,
)


def test_one_shift_is_shared_by_how_far_each_trim_was_moved() -> None:
    found = couplings([Shift("a", 2.0, {"b": 10, "c": 20})])
    assert found["a", "b"] * 10 + found["a", "c"] * 20 == pytest.approx(2.0)
    assert found["a", "c"] == pytest.approx(2 * found["a", "b"])


def test_enough_shifts_tell_the_trims_apart() -> None:
    true = {"b": 0.05, "c": -0.02}
    moves = ({"b": 12, "c": 30}, {"b": -5, "c": 8}, {"c": 4})
    seen = [Shift("a", sum(true[t] * n for t, n in m.items()), m) for m in moves]
    found = couplings(seen)
    assert {trim: found["a", trim] for trim in true} == pytest.approx(true)


@pytest.mark.parametrize("given", list(permutations("abc")))
def test_a_trim_that_moves_others_comes_first(given: tuple[str, ...]) -> None:
    """c moves b, and b moves a."""
    seen = [Shift("a", 3.0, {"b": 20}), Shift("b", -2.0, {"c": 15}), Shift("c", 0.0, {"a": 30})]
    assert order_of_adjusting(given, seen) == ("c", "b", "a")


def test_without_couplings_the_order_given_is_kept() -> None:
    assert order_of_adjusting(("b", "a", "c"), []) == ("b", "a", "c")


def test_adjusting_in_that_order_settles_what_another_order_does_not() -> None:
    """Each trim set once, in turn, on a unit of known couplings: only one order leaves no error."""
    effect = np.array([[1.0, 0.5, 0.0], [0.0, 1.0, 0.4], [0.0, 0.0, 1.0]])  # point, trim
    names = ("a", "b", "c")
    seen = [Shift("a", 5.0, {"b": 10}), Shift("b", 4.0, {"c": 10}), Shift("c", 0.0, {"a": 10})]

    def left_over(order: tuple[str, ...]) -> float:
        error = np.array([1.0, -2.0, 3.0])
        for name in order:
            place = names.index(name)
            error = error - effect[:, place] * error[place]
        return float(np.abs(error).max())

    assert left_over(order_of_adjusting(names, seen)) == pytest.approx(0.0)
    assert left_over(names) > 1


@pytest.mark.parametrize(
    ("shift", "counts", "unfelt"), [(0.1, 20, True), (0.1, 21, False), (0.3, 5, False)]
)
def test_unfelt_is_what_was_moved_as_far_before(shift: float, counts: int, unfelt: bool) -> None:
    assert is_unfelt("a", "b", counts, [Shift("a", shift, {"b": -20})]) is unfelt
    assert not is_unfelt("c", "b", counts, [Shift("a", shift, {"b": -20})])
