"""Jobs with a meter of one or two readings a second, over two seconds each."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ohmwright.engine.run_so_far import results

from .conftest import MeterKind

pytestmark = pytest.mark.anyio
HEAD = """
title = "t"
revision = "1"
model = "Quillon 300"

[defaults]
rest_s = 30
"""
VERIFY = """
[[step]]
kind = "output"
name = "cut"
mode = "cut"
setting_w = 150
load_ohm = 500
current_ma = 548
tolerance = { absolute_ma = 3 }
"""
ADJUST = """
[[step]]
kind = "adjust"
name = "cut-current"
point = "cut current"
load_ohm = 100
current_ma = 900
tolerance = { absolute_ma = 3 }
"""
RATES, NUMBERED = pytest.mark.parametrize("per_s", [1, 2]), pytest.mark.parametrize("n", [1, 0])


async def run(make_rig: Callable[..., Any], folder: Path, text: str, **rig: Any) -> list[Any]:
    path = folder / "p.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    stage = "adjust" if "adjust" in text else "as_left"
    return await make_rig(**rig).run(path, (stage,))


@RATES
@NUMBERED
@pytest.mark.parametrize("query_s", [0.0, 0.08, 0.25])
@pytest.mark.parametrize("step", [VERIFY, ADJUST])
async def test_an_activation_that_is_watched_to_its_limit_did_not_trip(
    make_rig: Callable[..., Any], tmp_path: Path, per_s: float, n: int, query_s: float, step: str
) -> None:
    """The tolerance is too narrow for this meter, so that the time limit is what ends it."""
    meter = MeterKind(per_s, 2.0, numbered=bool(n), query_s=query_s)
    for limit_s in (11.9, 12.2, 12.5, 12.8)[n::2]:  # every phase, half of them a meter
        text = step + f"max_on_s = {limit_s}\n"
        events = await run(make_rig, tmp_path, text, meter=meter)
        (result,) = results(events)
        assert result.samples[-1].age_s > limit_s - 6
        before, last = (sample.current_ma for sample in result.samples[-2:])
        assert last > 0.97 * before


@RATES
@NUMBERED
async def test_a_service_mode_that_times_out_sooner_than_stated_is_no_trip(
    make_rig: Callable[..., Any], tmp_path: Path, per_s: float, n: int
) -> None:
    """The fall through the window is seen and not believed; adjusting is left before it then."""
    meter = MeterKind(per_s, 2.0, numbered=bool(n), query_s=0.03)
    rig = make_rig(meter=meter)
    unit = rig.hardware._rig.generator.unit
    service = unit.profile.data.service.model_copy(update={"timeout_s": 12.0})
    data = unit.profile.data.model_copy(update={"service": service})
    object.__setattr__(unit, "profile", unit.profile.model_copy(update={"data": data}))
    path = tmp_path / "p.toml"
    path.write_text(HEAD + ADJUST.replace("= 3", "= 9") + "max_on_s = 40\n", encoding="utf-8")
    (result,) = results(await rig.run(path, ("adjust",)))
    assert result.verdict == "pass"
    _, _, first_s, second_s, *_ = (off - on for on, off in rig.hardware.truth.rf_on_intervals)
    assert first_s == pytest.approx(12.0, abs=0.01)
    assert second_s < 12.0 - 2.0
