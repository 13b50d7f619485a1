"""Jobs with meters that take readings faster than the line lets one ask for them."""

from collections.abc import Callable
from math import hypot
from pathlib import Path
from typing import Any

import pytest

from ohmwright.engine.run_so_far import results
from ohmwright.model.shipped import shipped

from .conftest import MeterKind

pytestmark = pytest.mark.anyio
CREST_FACTOR = """
title = "t"
revision = "1"
model = "Quillon 300"

[[step]]
kind = "crest_factor"
name = "shape"
mode = "coag"
setting_w = 60
load_ohm = 500
crest_factor = 5.3
tolerance = { percent = 15 }
"""


@pytest.mark.parametrize(("per_s", "query_s"), [(20, 0.06), (200, 0.008)])
async def test_each_question_meets_a_new_reading(
    make_rig: Callable[..., Any], whole_job: tuple[Any, Any], per_s: float, query_s: float
) -> None:
    """Outputs from their rise on, leakage, contact quality: values as by a slower meter."""
    rig = make_rig(meter=MeterKind(per_s, 0.1, query_s=query_s))
    found = results(await rig.run(shipped("procedures", "demo-monopolar.toml"), ("as_found",)))
    usual = [one for one in results(whole_job[1]) if one.stage == "as_found"]
    for one, other in zip(found, usual, strict=True):
        assert one.verdict == other.verdict
        both = hypot(one.measured.expanded, other.measured.expanded)
        apart = abs(one.measured.value - other.measured.value)
        assert apart < max(0.03 * other.measured.value, both)


async def test_each_question_meets_a_new_waveform(
    make_rig: Callable[..., Any], tmp_path: Path
) -> None:
    path = tmp_path / "p.toml"
    path.write_text(CREST_FACTOR, encoding="utf-8")
    rig = make_rig(meter=MeterKind(20, 0.1, query_s=0.06))
    (found,) = results(await rig.run(path, ("as_left",)))
    assert found.verdict == "pass"
    assert found.measured.value == pytest.approx(5.3, rel=0.05)
