"""Events of invented runs."""

from datetime import UTC, date, datetime

from ohmwright.model.bench_file import Asset
from ohmwright.model.event import Event, PointDone, RunFinished, RunStarted, StageStarted
from ohmwright.model.result import Measured, Result, TraceabilityBasis, Verdict
from ohmwright.model.tolerance import Target
from ohmwright.model.traceability import Traceability

AT = datetime(2026, 1, 5, 8, tzinfo=UTC)


def started(
    run_id: str, asset: str = "HF-1", seed: int | None = None, model: str = "Model ä 'x'"
) -> RunStarted:
    return RunStarted(
        at=AT,
        bench_s=0.0,
        run_id=run_id,
        procedure="Quick check",
        revision="1",
        procedure_digest="0",
        stages=("as_left",),
        bench="bench",
        analyzer="analyzer",
        generator="generator",
        asset=Asset(id=asset, maker="Maker", model=model, serial="7"),
        operator="Áda",
        software="ohmwright",
        seed=seed,
    )


def stage(bench_s: float = 1.0) -> StageStarted:
    return StageStarted(at=AT, bench_s=bench_s, stage="as_left")


def point(name: str = "100 ohm", verdict: Verdict = "pass", value: float = 81.5) -> PointDone:
    result = Result(
        stage="as_left",
        step="cut",
        point=name,
        kind="power_curve",
        verdict=verdict,
        target=Target(quantity="power_w", value=80.0, lower=76.0, upper=84.0),
        measured=Measured(value=value, uncertainty=0.1, dof=30.0, age_s=6.0),
    )
    return PointDone(at=AT, bench_s=2.0, result=result)


def finished(verdict: Verdict = "pass") -> RunFinished:
    return RunFinished(at=AT, bench_s=3.0, verdict=verdict, on_s=1.0, bench_time_s=3.0)


def whole_run(run_id: str, asset: str = "HF-1") -> tuple[Event, ...]:
    return (started(run_id, asset), stage(), point(), point("500 ohm"), finished())


EXPIRED = Traceability(
    certificate="C-1",
    serial="S-1",
    laboratory="T",
    calibrated_on=date(2024, 1, 1),
    due_on=date(2025, 1, 1),
    expired=True,
)
"""An analyzer certificate that was past due when it was used."""


def uncovered_run(basis: TraceabilityBasis) -> list[Event]:
    """A run whose values rest on that; one result has no value, and so says "none" of nothing."""
    events = whole_run("a")
    last = [event for event in events if isinstance(event, PointDone)][-1]

    def change(event: PointDone) -> Event:
        update = {"traceability": basis, "reason": '"traceability":"none"'}
        if event is last:
            update = {"traceability": "none", "measured": None}
        return event.model_copy(update={"result": event.result.model_copy(update=update)})

    return [change(event) if isinstance(event, PointDone) else event for event in events]
