"""Whether the moves of a trim on record give where it stood at the end."""

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest

from ohmwright.engine.rf_on_record import misfit_results
from ohmwright.model.event import Event, PointDone, ServiceLeft, StepStarted, TrimMoved, TrimsStored

NOW: dict[str, Any] = {"at": datetime(2026, 1, 5, tzinfo=UTC), "bench_s": 0.0}


@pytest.mark.parametrize(("stored", "final"), [(True, 5), (False, 0)])
def test_leaving_service_mode_undoes_what_was_not_stored_alone(*, stored: bool, final: int) -> None:
    """Would notice a trim that was saved said to be undone, or one undone said to be moved."""
    events: list[Event] = [
        StepStarted.model_construct(**NOW, stage="adjust", step="cut"),
        TrimMoved.model_construct(**NOW, point="cut", counts=5),
        *([TrimsStored.model_construct(**NOW)] if stored else []),
        ServiceLeft.model_construct(**NOW),
    ]
    for stood, fits in ((final, True), (5 - final, False)):
        result: Any = SimpleNamespace(
            kind="adjust", step="cut", point="cut", start_trim=0, final_trim=stood, again=None,
            samples=(), on_s=0.0, measured=None,
        )  # fmt: skip
        done = PointDone.model_construct(**NOW, result=result)
        assert (not list(misfit_results([*events, done]))) is fits
