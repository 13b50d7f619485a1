"""What a run on a simulated bench says of what did not pass."""

from datetime import UTC, datetime

from ohmwright.model.event import StageStarted
from ohmwright.testing.procedure_run import ProcedureRun


def test_a_stage_in_which_nothing_is_measured_is_named() -> None:
    begun = StageStarted(at=datetime(2026, 1, 5, tzinfo=UTC), bench_s=0.0, stage="as_left")
    run = ProcedureRun((begun,))
    assert run.verdict == "not measured"
    assert run.not_passed() == "as left: NOT MEASURED: no step of the procedure is of this stage"
