"""Settings, loads, ages and decision rules on record are held against the kept procedure."""

import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

from ohmwright.engine.conditions_on_record import differing_conditions
from ohmwright.engine.contradictions import quick_contradictions
from ohmwright.engine.coverage_on_record import not_covered
from ohmwright.engine.judge import conformity
from ohmwright.engine.thresholds_on_record import differing_levels
from ohmwright.engine.verdict_on_record import what_differs
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.decision import FalseAccept, GuardBand
from ohmwright.model.event import ActivationOpened, Event, PointDone, RunStarted, StepStarted
from ohmwright.model.result import Conformity, Measured, Result

from .conftest import Rig
from .test_evidence import HEAD, STEPS

CERTIFICATE = Path("sim_profiles/analyzers/gantry-400/certificate.toml")
GUARDED = GuardBand(rule="guard band", multiple=1.0)
Change = Callable[[Result], dict[str, Any]]


@pytest.fixture
def job(whole_job: tuple[Rig, tuple[Event, ...]]) -> tuple[Event, ...]:
    return whole_job[1]


def places(events: Sequence[Event], kind: str) -> list[int]:
    return [n for n, e in enumerate(events) if isinstance(e, PointDone) and e.result.kind == kind]


def changed(events: Sequence[Event], at: int, change: Change) -> list[Event]:
    done = events[at]
    assert isinstance(done, PointDone)
    result = done.result.model_copy(update=change(done.result))
    return [*events[:at], done.model_copy(update={"result": result}), *events[at + 1 :]]


def other_age(result: Result) -> dict[str, Any]:
    assert result.measured is not None
    return {"measured": result.measured.model_copy(update={"age_s": 20.0})}


def stricter(result: Result) -> dict[str, Any]:
    """The same value, as if a stricter rule had decided it: all figures follow from that rule."""
    return {"conformity": conformity(result.measured, result.target, GUARDED)}


def foreign(result: Result) -> dict[str, Any]:
    """A verdict by a rule that no program here knows, and which therefore nobody decides again."""
    agreed = Conformity(rule="as agreed", probability=0.99, uncertainty_ratio=4.2)
    return {"verdict": "pass", "reason": "", "conformity": agreed}


def other_ratio(result: Result) -> dict[str, Any]:
    assert result.conformity is not None
    return {"conformity": result.conformity.model_copy(update={"uncertainty_ratio": 10.4})}


def test_a_job_was_done_as_its_procedure_says(job: Sequence[Event]) -> None:
    assert [*differing_conditions(job)] == []


@pytest.mark.parametrize(
    "kind",
    ["output", "power_curve", "half_and_full", "leakage", "monotonicity", "crest_factor", "adjust"],
)
def test_each_kind_of_step_is_held_against_what_it_states(kind: str, job: Sequence[Event]) -> None:
    changes: list[tuple[Change, str]] = [
        (lambda _: {"load_ohm": 777.0}, "load_ohm is 777.0, and the procedure kept with the run"),
        (other_age, "age_s is 20.0, and the procedure kept with the run says 6.0"),
    ]
    if kind != "adjust":  # service mode has a setting of its own
        changes += [
            (lambda _: {"setting_w": 7.0}, "setting_w is 7.0, and the procedure kept with the run"),
            (lambda _: {"mode": "bend"}, "mode is bend, and the procedure kept with the run"),
        ]
    for at in (places(job, kind)[0], places(job, kind)[-1]):
        for change, told in changes:
            ((number, said),) = differing_conditions(changed(job, at, change))
            assert (number, told in said) == (at + 1, True), said


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (stricter, "its decision rule is guard band w = 1 U, and that of the procedure"),
        (foreign, "its decision rule is as agreed, and that of the procedure"),
        (lambda _: {"conformity": None}, "its decision rule is none, and that of the procedure"),
    ],
)
def test_another_decision_rule_than_the_procedures_is_told(
    change: Change, told: str, job: Sequence[Event]
) -> None:
    for kind in ("power_curve", "adjust", "leakage"):
        at = places(job, kind)[0]
        ((number, said),) = differing_conditions(changed(job, at, change))
        assert (number, told in said) == (at + 1, True), said


def test_a_test_uncertainty_ratio_that_does_not_follow_is_told(job: Sequence[Event]) -> None:
    at = places(job, "power_curve")[-1]
    ((number, said), *_) = quick_contradictions(changed(job, at, other_ratio))
    assert (number, "probability, ratio, risk or accepted limits" in said) == (at + 1, True), said


def test_a_share_of_false_accepts_that_does_not_follow_is_told(job: Sequence[Event]) -> None:
    rule = FalseAccept(rule="2 % false accept", in_tolerance_percent=80)
    done = job[places(job, "power_curve")[-1]]
    assert isinstance(done, PointDone)
    result = done.result
    how = conformity(result.measured, result.target, rule)
    assert how is not None
    assert how.false_accept is not None
    kept = result.model_copy(update={"conformity": how})
    assert what_differs(kept) == ""
    lower = how.model_copy(update={"false_accept": how.false_accept / 2 + 1e-3})
    said = what_differs(result.model_copy(update={"conformity": lower}))
    assert "probability, ratio, risk or accepted limits do not follow" in said


def test_an_activation_with_another_load_or_setting_than_its_result_is_told(
    job: Sequence[Event],
) -> None:
    at = places(job, "output")[0]
    opened = max(n for n, e in enumerate(job[:at]) if isinstance(e, ActivationOpened))
    for key in ("load_ohm", "setting_w"):
        other = job[opened].model_copy(update={key: 777.0})
        found = list(quick_contradictions([*job[:opened], other, *job[opened + 1 :]]))
        assert [number for number, _ in found] == [at + 1]
        assert "and its activation was opened with 777.0" in found[0][1]


@pytest.mark.parametrize("kind", ["crest_factor", "contact_quality"])
def test_what_no_certificate_covers_is_not_taken_as_traceable(
    kind: str, job: Sequence[Event]
) -> None:
    started = job[0]
    assert isinstance(started, RunStarted)
    at = places(job, kind)[0]
    found = [
        *quick_contradictions(changed(job, at, lambda _: {"traceability": started.traceability}))
    ]
    assert [number for number, _ in found] == [at + 1]
    assert "recorded as traceable to certificate CAL-25-1187, and it says nothing" in found[0][1]


@pytest.mark.parametrize("kind", ["value", "warm_up"])
def test_nor_is_what_the_analyzer_does_not_measure(kind: str) -> None:
    certificate = AnalyzerCertificate.model_validate(tomllib.loads(CERTIFICATE.read_text("utf-8")))
    traceable = certificate.traceability(certificate.calibrated_on)
    seen = Result(
        stage="as_found", step="s", point="", kind=kind, verdict="pass", traceability=traceable
    )
    (said,) = not_covered(seen, certificate)
    assert said.endswith(f"it says nothing of what the step kind {kind} measures")


def test_a_current_beyond_the_certificate_is_not_taken_as_traceable() -> None:
    certificate = AnalyzerCertificate.model_validate(tomllib.loads(CERTIFICATE.read_text("utf-8")))
    measured = Measured(quantity="power_w", value=100.0, uncertainty=1.0, dof=30, age_s=6.0)
    seen = Result(
        stage="as_found", step="cut", point="10 ohm", kind="output", verdict="pass", load_ohm=10.0,
        measured=measured, traceability=certificate.traceability(certificate.calibrated_on),
    )  # fmt: skip
    (said,) = not_covered(seen, certificate)  # 100 W in 10 ohm: 3162 mA
    assert "not traceable: 3162 mA is over the 2800 mA" in said
    assert [*not_covered(seen.model_copy(update={"load_ohm": 20.0}), certificate)] == []
    in_ma = measured.model_copy(update={"quantity": "current_ma", "value": 2900.0})
    (said,) = not_covered(seen.model_copy(update={"measured": in_ma}), certificate)
    assert "not traceable: 2900 mA is over the 2800 mA" in said


@pytest.mark.anyio
async def test_so_are_the_points_of_a_sweep(make_rig: Callable[..., Rig], tmp_path: Path) -> None:
    file = tmp_path / "p.toml"
    step = f'\n[[step]]\nkind = "sweep"\nname = "it"\n{STEPS["sweep"]}\n'
    file.write_text(HEAD + step, encoding="utf-8")
    events = await make_rig().run(file, ("as_left",))
    assert [*differing_conditions(events)] == []
    at = places(events, "sweep")[0]
    for key, other in (("load_ohm", 777.0), ("setting_w", 7.0), ("mode", "bend")):
        ((number, said),) = differing_conditions(
            changed(events, at, lambda _, key=key, other=other: {key: other})
        )
        assert (number, f"{key} is {other}, and the procedure" in said) == (at + 1, True), said


def test_a_note_that_the_procedure_does_not_have_is_told(job: Sequence[Event]) -> None:
    at = next(n for n, event in enumerate(job) if isinstance(event, StepStarted))
    noted = job[at].model_copy(update={"note": "meets every standard"})
    ((number, said),) = differing_conditions([*job[:at], noted, *job[at + 1 :]])
    assert (number, said.endswith("does not note 'meets every standard'")) == (at + 1, True)


def test_an_output_that_rises_as_it_is_turned_down_is_no_pass(job: Sequence[Event]) -> None:
    """Would notice a pass of the control that the powers on record do not give."""
    assert [*differing_levels(job)] == []
    low, high = places(job, "monotonicity")[1:3]
    (of_low,) = (e.result.measured for e in (job[low],) if isinstance(e, PointDone))
    less = {"measured": part_of(of_low, 0.1)}
    ((number, said),) = differing_levels(changed(job, high, lambda _: less))
    told = "is recorded as pass; by the powers on record it is fail"
    assert (number, told in said) == (high + 1, True), said


def test_a_setting_that_is_measured_again_is_not_held_against_itself(job: Sequence[Event]) -> None:
    low = places(job, "monotonicity")[1]
    again = changed(job, low, lambda first: {"measured": part_of(first.measured, 0.8)})
    assert [*differing_levels([*job[: low + 1], again[low]])] == []


def part_of(measured: Measured | None, part: float) -> Measured:
    """A part of a power, as well known."""
    assert measured is not None
    return measured.model_copy(update={"value": part * measured.value})
