"""Simulated hands: in their own time, and as often as they say they slip."""

from __future__ import annotations

from collections import Counter

import pytest

from ohmwright.model.cue import Cue
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.cued_hands import CuedHands, Hands
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.wire.clock import VirtualClock

THREE_DOWN = Cue("press", "Press fine down 3 times.", "fine", "down", 3)
HOLD = Cue("hold", "Hold.")


def opened() -> tuple[SimulatedBench, VirtualClock]:
    """A bench whose generator is in service mode at point P1."""
    clock = VirtualClock()
    bench = SimulatedBench(
        load(shipped("analyzers", "plover-200.toml"), AnalyzerProfile),
        load(shipped("generators", "marlow-150.toml"), GeneratorProfile),
        seed=5,
        clock=clock,
    )
    bench.panel.service(on=True)
    bench.panel.point("P1")
    return bench, clock


def test_presses_come_after_a_reaction_and_one_by_one() -> None:
    bench, clock = opened()
    start = bench.truth.trims["P1"]
    hands = CuedHands(bench.panel, clock, Hands(), seed=3)
    hands.follow(THREE_DOWN)
    times = [at_s for at_s, _, _ in hands.acted[0].presses]
    assert 1.0 <= times[0] <= 5.0
    for n, at_s in enumerate(times):
        clock.advance(at_s - 0.01 - clock.now_s())
        bench.catch_up()
        assert (bench.truth.trims["P1"] - start, hands.done_of_last()) == (-n, n)
        clock.advance(0.02)
        bench.catch_up()
    assert (bench.truth.trims["P1"] - start, bench.truth.presses) == (-3, 3)


def test_another_cue_stops_the_presses() -> None:
    bench, clock = opened()
    hands = CuedHands(bench.panel, clock, Hands(), seed=3)
    hands.follow(THREE_DOWN)
    hands.follow(HOLD)
    clock.advance(30.0)
    bench.catch_up()
    assert (bench.truth.presses, hands.done_of_last()) == (0, 0)


@pytest.mark.parametrize("seed", [1, 2])
def test_slips_are_as_frequent_as_said_and_are_really_made(seed: int) -> None:
    bench, clock = opened()
    hands = CuedHands(bench.panel, clock, Hands.slipping(0.4), seed=seed)
    for _ in range(400):
        hands.follow(THREE_DOWN)
        clock.advance(20.0)
        bench.catch_up()
    slips = Counter(acted.slip for acted in hands.acted)
    assert all(25 <= slips[slip] <= 60 for slip in ("missed", "doubled", "other key"))
    assert bench.truth.presses == sum(len(acted.presses) for acted in hands.acted)
    one_more = [len(acted.presses) for acted in hands.acted if acted.slip == "doubled"]
    assert set(one_more) == {4}
