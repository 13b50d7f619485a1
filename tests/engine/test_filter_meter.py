"""A meter that averages by a filter: its lag is found, and taken off, with the output's own."""

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from types import ModuleType
from typing import Any

import anyio
import pytest

from ohmwright.engine import rested_activation
from ohmwright.engine.meter_window import stated_window_s
from ohmwright.engine.recomputed_values import differing, recomputable
from ohmwright.engine.run_so_far import results
from ohmwright.engine.steps import warm_up
from ohmwright.engine.stop_rules import UntilSettled
from ohmwright.model.document import Document
from ohmwright.model.event import Commented, DocumentKept, Event, PointDone
from ohmwright.model.shipped import shipped

from .conftest import MeterKind, Rig
from .test_evidence import HEAD, STEPS

FILTER = MeterKind(readings_per_s=10, window_s=1.0, averages_by="filter")
MONOPOLAR = shipped("procedures", "demo-monopolar.toml")


@pytest.fixture(scope="module")
def job(make_rig: Callable[..., Rig]) -> tuple[Rig, Sequence[Event]]:
    rig = make_rig(seed=7, meter=FILTER)
    return rig, tuple(anyio.run(rig.run, MONOPOLAR, ("adjust", "as_left")))


def test_a_unit_is_adjusted_and_verified_by_it(job: tuple[Rig, Sequence[Event]]) -> None:
    found = list(results(job[1]))
    assert len(found) > 25
    assert {result.verdict for result in found if result.stage == "adjust"} == {"pass"}
    told = [e.words for e in job[1] if isinstance(e, Commented)]
    assert told == [], "its data are right, and no finding says otherwise"


def test_values_are_free_of_its_lag(job: tuple[Rig, Sequence[Event]]) -> None:
    """Against the simulated truth, read with the meter's own gain error; U covers 95 %."""
    rig, events = job
    truth, gain = rig.hardware.truth, rig.hardware._rig.plant.meter._gain
    within = []
    for event in events:
        if not isinstance(event, PointDone) or event.result.kind != "power_curve":
            continue
        result, chosen = event.result, event.result
        assert result.measured is not None
        true_ma = gain * truth.lag_free_current_ma(
            mode=chosen.mode, setting_w=chosen.setting_w, load_ohm=result.load_ohm
        )
        true_w = (true_ma / 1000) ** 2 * result.load_ohm
        within.append(abs(result.measured.value - true_w) <= result.measured.expanded)
    assert len(within) == 8
    assert sum(within) >= 7


def test_its_values_are_computed_again_alike(job: tuple[Rig, Sequence[Event]]) -> None:
    """Notices a record whose values are held against another meter's equation."""
    stated = 'window_s = 1.0\naverages_by = "filter"'
    as_kept, as_mean = (kept_with(job[1], meter) for meter in (stated, "window_s = 1.0"))
    values, _ = recomputable(as_kept)
    assert len(values) > 20
    assert differing(values) == []
    assert differing(recomputable(as_mean)[0])


def kept_with(events: Sequence[Event], meter: str) -> list[Event]:
    """The events with the meter in the kept data of the analyzer, which are the shipped ones."""
    return [
        event.model_copy(update={"document": _with_meter(event.document, meter)})
        if isinstance(event, DocumentKept)
        else event
        for event in events
    ]


def _with_meter(document: Document, meter: str) -> Document:
    return document.model_copy(
        update={"text": re.sub(r"(?m)^window_s = 0\.5$", meter, document.text)}
    )


@pytest.mark.parametrize(
    ("module", "rule", "kind"),
    [
        (rested_activation, "UntilSettled", "monotonicity"),
        (warm_up, "FullLength", "warm_up"),
    ],
)
@pytest.mark.anyio
async def test_a_value_that_must_only_settle_is_fitted_by_its_equation_too(
    make_rig: Callable[..., Rig],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    module: ModuleType,
    rule: str,
    kind: str,
) -> None:
    windows_s, made = list[float](), getattr(module, rule)

    def seen(age_s: float, window_s: float, *more: Any, **named: Any) -> UntilSettled:
        windows_s.append(window_s)
        return made(age_s, window_s, *more, **named)

    monkeypatch.setattr(module, rule, seen)
    rig, file = make_rig(seed=7, meter=FILTER), tmp_path / "p.toml"
    step = f'\n[[step]]\nkind = "{kind}"\nname = "it"\n{STEPS[kind]}\n'
    file.write_text(HEAD + step, encoding="utf-8")
    await rig.run(file, ("as_left",))
    assert {*windows_s} == {stated_window_s(rig.bench.analyzer.data.meter)}
