"""The warmth that a typical unit has, where its data do not state how it droops."""

from collections.abc import Callable
from typing import Any

import pytest

from ohmwright.engine.resting import OutputWarmth
from ohmwright.estimation.thermal_droop import heated


def test_a_typical_unit_cools_between_activations(make_rig: Callable[..., Any]) -> None:
    """Would notice a droop that is taken for larger with each activation of a run."""
    bench = make_rig().bench
    undescribed = bench.generator.data.model_copy(update={"droop": None})
    warmth = OutputWarmth.of_rested(bench.analyzer.data, undescribed)
    for on_s in (0.0, 3600.0):
        warmth.add_activation(on_s, on_s + 10.0, 100.0)
    assert warmth.typical_warmth(3610.0).heat == pytest.approx(heated(0.0, 10.0), rel=1e-3)
