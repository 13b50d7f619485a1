"""Whether the moves of a trim on record give where it stood at the end."""

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest

from ohmwright.engine.rf_on_record import misfit_results
from ohmwright.model.event import (
    ActivationClosed,
    ActivationOpened,
    Event,
    PointDone,
    ServiceLeft,
    StepStarted,
    TrimMoved,
    TrimsStored,
)
from ohmwright.model.result import Measured, Result, Sample

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


def test_moves_in_a_step_that_came_to_no_result_are_none_of_the_next_step() -> None:
    """Would notice a true record said to contradict itself, after a step that a person left."""
    step = StepStarted.model_construct(**NOW, stage="adjust", step="cut")
    moves = [TrimMoved.model_construct(**NOW, point="cut", counts=counts) for counts in (5, 3)]
    result: Any = SimpleNamespace(
        kind="adjust", step="cut", point="cut", start_trim=5, final_trim=8, again=None,
        samples=(), on_s=0.0, measured=None,
    )  # fmt: skip
    done = PointDone.model_construct(**NOW, result=result)
    assert [*misfit_results([step, moves[0], step, moves[1], done])] == []


def test_a_result_without_a_reading_is_held_against_its_activations_by_its_value_alone() -> None:
    """A point may be left after RF at another load; a record may say nothing of RF at all."""
    activation: list[Event] = [
        ActivationOpened(**NOW, load_ohm=100.0, limit_s=20.0),
        ActivationClosed(**NOW, on_s=5.0),
    ]
    value = Measured(quantity="power_w", value=80.0, uncertainty=0.1, dof=30.0, age_s=6.0)
    for before, measured, found in ((activation, None, 0), ([], value, 0), (activation, value, 1)):
        left = Result(
            stage="as_found", step="cut", point="500 ohm", kind="output", verdict="not measured",
            load_ohm=500.0, measured=measured,
        )  # fmt: skip
        assert len([*misfit_results([*before, PointDone(**NOW, result=left)])]) == found


@pytest.mark.parametrize("other", [{}, {"load_ohm": 300.0}, {"setting_w": 50.0}])
def test_a_result_has_the_load_and_the_setting_of_its_activation(other: dict[str, float]) -> None:
    """Would notice a value said to be of another setting than the one that was chosen."""
    activation: list[Event] = [
        ActivationOpened(**NOW, load_ohm=500.0, setting_w=100.0, limit_s=20.0),
        ActivationClosed(**NOW, on_s=5.0),
    ]
    conditions = {"load_ohm": 500.0, "setting_w": 100.0} | other
    done = Result(
        stage="as_found", step="cut", point="500 ohm", kind="output", verdict="undecided",
        on_s=5.0, samples=(Sample(4.9, 400.0),), **conditions,
    )  # fmt: skip
    assert len([*misfit_results([*activation, PointDone(**NOW, result=done)])]) == len(other)
