"""Runs made up without an engine: as many points, and whatever names, as a test wants."""

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from typing import Any

import pytest

from ohmwright.model.bench_file import Asset
from ohmwright.model.event import (
    Event,
    PointDone,
    RunFinished,
    RunStarted,
    StepStarted,
    TrimMoved,
)
from ohmwright.model.result import Conformity, Measured, Result, Verdict
from ohmwright.model.tolerance import Target
from ohmwright.model.traceability import Environment, Traceability
from ohmwright.reports.certificate import Certificate, certificate_of

BEGUN = datetime(2026, 3, 2, 9, 30, 0, 123456, tzinfo=UTC)
HEAD = "0f" * 32
CERTIFICATE = Traceability(
    certificate="CAL-1",
    laboratory="Corrow",
    calibrated_on=date(2025, 8, 1),
    due_on=date(2026, 8, 1),
)
LOADS_OHM = (100.0, 200.0, 500.0, 1000.0, 2000.0)
HOSTILE = (
    '#panic("typst") #read("/etc/passwd") \\ */ //',
    "*bold* _slanted_ $x^2$ `raw` @ref <label> = heading",
    "<script>alert(1)</script>",
    "\"><img src=x onerror='alert(1)'>",
    '=HYPERLINK("http://example.invalid","x")',
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\t=1",
    "a;=1+1",
    '&xxe; <!ENTITY x SYSTEM "file:///etc/passwd"> ]]> &#0;',
    "bell\x07null\x00escape\x1b[31m",
    "abc\u202egnp.exe\u2066",
    "line one\nline two\r\n",
)


def result(
    stage: str, step: str, point: str, *, load_ohm: float = 500.0, error: float = 0.01
) -> Result:
    target = Target(quantity="power_w", value=100.0, lower=90.0, upper=110.0)
    verdict: Verdict = "pass" if abs(error) < 0.1 else "fail"
    return Result(
        stage=stage,
        step=step,
        point=point,
        kind="adjust" if stage == "adjust" else "power_curve",
        verdict=verdict,
        reason="" if verdict == "pass" else "above the upper limit",
        mode="cut",
        setting_w=None if stage == "adjust" else 300,
        load_ohm=load_ohm,
        path="OUTPUT",
        traceability=CERTIFICATE,
        target=target,
        measured=Measured(
            quantity="power_w",
            value=100 * (1 + error),
            uncertainty=0.617,
            dof=50,
            age_s=6.0,
            expanded=1.234,
            coverage_factor=2.0,
        ),
        conformity=Conformity(
            rule="simple acceptance",
            probability=0.998 if verdict == "pass" else 1e-9,
            uncertainty_ratio=8.1,
            accept_from=90.0,
            accept_to=110.0,
        ),
        start_trim=4 if stage == "adjust" else None,
        final_trim=-33 if stage == "adjust" else None,
    )


def results(points: int) -> list[Result]:
    """As found out of tolerance, one adjustment, as left within; five loads a step."""
    names = [(f"cut-{n // 5 + 1}", LOADS_OHM[n % 5]) for n in range(points)]
    kinds = (("as_found", 0.2), ("as_left", -0.01))
    measured = {
        stage: [
            result(stage, step, f"{load:g} ohm", load_ohm=load, error=error) for step, load in names
        ]
        for stage, error in kinds
    }
    return [*measured["as_found"], result("adjust", "trim", "cut current"), *measured["as_left"]]


def a_run(
    found: list[Result] | None = None, *, points: int = 10, seed: int | None = None, **names: str
) -> tuple[Event, ...]:
    """The events of a finished run; `names` replaces texts of its first event and its asset."""
    unit = {"id": "HF-031", "maker": "Tessenhove", "model": "Quillon 300", "serial": "TQ3-1"}
    unit |= {key: text for key, text in names.items() if key in (*unit, "department")}
    said = {
        "procedure": "Monopolar output",
        "bench": "Workshop bench 2",
        "analyzer": "Hollin & Skerry, Gantry 400",
        "operator": "Imre Valdane",
    }
    said |= {key: text for key, text in names.items() if key in said}
    started = RunStarted(
        at=BEGUN,
        bench_s=0.0,
        run_id="20260302T093000Z-HF-031-ab12",
        revision="3",
        procedure_digest="ab" * 32,
        stages=("as_found", "adjust", "as_left"),
        generator="Tessenhove, Quillon 300",
        asset=Asset(**unit),
        software="ohmwright 0.1.0",
        traceability=CERTIFICATE,
        environment=Environment(temperature_c=22.5, humidity_percent=41),
        seed=seed,
        **said,
    )
    later = {"at": BEGUN + timedelta(minutes=20), "bench_s": 1200.0}
    moved = TrimMoved(**later, point="cut current", counts=-37, current_ma=950.0)
    found = results(points) if found is None else found
    steps = dict.fromkeys((one.stage, one.step) for one in found)
    begun = [
        StepStarted(**later, stage=stage, step=step, note=names.get("note", ""))
        for stage, step in steps
    ]
    done = [PointDone(**later, result=one) for one in found]
    finished = RunFinished(**later, verdict="pass", on_s=280.0, bench_time_s=1200.0)
    return (started, moved, *begun, *done, finished)


@pytest.fixture
def certificate() -> Certificate:
    return certificate_of(a_run(), HEAD)


@pytest.fixture(params=HOSTILE)
def hostile(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def named() -> Callable[[str], Certificate]:
    """A run in which everything that people name has one name."""

    def make(name: str) -> Certificate:
        keys = ("id", "maker", "model", "serial", "department", "procedure", "operator", "bench")
        one = result("as_left", "cut", name).model_copy(update={"verdict": "fail", "reason": name})
        names: dict[str, Any] = dict.fromkeys(keys, name)
        return certificate_of(a_run([one], **names), HEAD)

    return make
