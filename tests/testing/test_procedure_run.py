"""What a run on a simulated bench says of what did not pass."""

from collections.abc import Sequence
from datetime import UTC, datetime

import pytest

from ohmwright.model.event import Event, StageStarted
from ohmwright.model.step import Stage
from ohmwright.testing.procedure_run import ProcedureRun
from tests.records.some_events import finished, point, stage


def begun(which: Stage) -> StageStarted:
    return StageStarted(at=datetime(2026, 1, 5, tzinfo=UTC), bench_s=0.0, stage=which)


@pytest.mark.parametrize(
    ("events", "why"),
    [
        ((stage(), finished()), "as left: NOT MEASURED: no step of the procedure is of this stage"),
        ((begun("adjust"), finished()), "adjust: NOT MEASURED: no step of the procedure is of th"),
        ((stage(),), "as left: NOT MEASURED: the run broke off before its first result"),
    ],
)
def test_a_stage_in_which_nothing_is_measured_is_named(events: Sequence[Event], why: str) -> None:
    run = ProcedureRun(tuple(events))
    assert run.verdict == "not measured"
    assert run.not_passed().startswith(why)


def test_a_run_that_passed_and_had_nothing_to_adjust_has_nothing_that_did_not() -> None:
    run = ProcedureRun((begun("adjust"), stage(), point(), finished()))
    assert (run.verdict, run.not_passed()) == ("pass", "")
