"""What a certificate gathers from a run."""

import pytest

from ohmwright.model.errors import UsageError
from ohmwright.model.event import Fault, RunResumed
from ohmwright.model.result import Result
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.risk_text import decision_rules

from .conftest import BEGUN, a_run, result


def test_as_found_stands_beside_as_left(certificate: Certificate) -> None:
    line = certificate.lines[0]
    assert line.found is not None
    assert line.left is not None
    assert (line.found.stage, line.left.stage) == ("as_found", "as_left")
    assert (line.found.point, line.left.point) == (line.point, line.point)
    assert len(certificate.lines) == 10
    assert certificate.verdict_of("as_found") == "fail"
    assert certificate.verdict_of("as_left") == "pass"


def test_adjustments_count_their_moves(certificate: Certificate) -> None:
    (adjustment,) = certificate.adjustments
    assert (adjustment.moves, adjustment.result.final_trim) == (1, -33)


def test_a_point_of_one_stage_only_has_a_line() -> None:
    found = [result("as_found", "cut", "a"), result("as_left", "cut", "b")]
    first, second = certificate_of(a_run(found)).lines
    assert (first.left, second.found) == (None, None)
    assert first.last.stage == "as_found"


def test_everyone_who_had_the_bench_is_named() -> None:
    first, *rest = a_run()
    fault = Fault(at=BEGUN, bench_s=1, error="LinkLost", message="unplugged", rf_state="off")
    again = RunResumed(at=BEGUN, bench_s=2, operator="Oda Brandvik", done=0)
    made = certificate_of((first, fault, again, *rest))
    assert made.operators == ("Imre Valdane", "Oda Brandvik")
    assert [part.cut_short_by for part in made.parts] == ["unplugged", ""]
    assert len(made.marks.bases) == 1


@pytest.mark.parametrize("events", [(), a_run()[:-1], a_run()[1:]])
def test_only_a_finished_run_has_one(events: tuple) -> None:
    with pytest.raises(UsageError, match="not finished"):
        certificate_of(events)


def test_each_of_several_decision_rules_names_what_it_decided() -> None:
    def by(rule: str, step: str, point: str) -> Result:
        one = result("as_left", step, point)
        assert one.conformity is not None
        held = one.conformity.model_copy(update={"rule": rule})
        return one.model_copy(update={"conformity": held})

    simple = [by("simple acceptance", "cut", "1"), by("simple acceptance", "cut", "2")]
    assert decision_rules(simple) == ("simple acceptance",)
    others = [by("4:1", "coag", "1"), by("4:1", "blend", "1"), by("guard band", "blend", "2")]
    assert decision_rules([*simple, *others]) == (
        "cut: simple acceptance",
        "coag, blend 1: 4:1",
        "blend 2: guard band",
    )
