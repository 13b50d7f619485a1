"""The results of a run, numbered: what is new since a number, and what is kept."""

from __future__ import annotations

from ohmwright.api.kept_results import KeptResults
from ohmwright.api.run_picture import result_picture
from ohmwright.model.result import Measured, Result


def keep(results: KeptResults, *points: str) -> None:
    for point in points:
        result = Result(stage="as_left", step="s", point=point, kind="sweep", verdict="pass")
        results.keep(("as_left", "s", point), result_picture(result))


def test_only_what_is_new_is_given_and_a_point_counts_once() -> None:
    results = KeptResults(3)
    keep(results, "a", "b")
    assert [(n, one.point) for n, one in results.since(0)] == [(1, "a"), (2, "b")]
    assert results.since(results.latest) == ()
    keep(results, "a", "c")
    assert [(n, one.point) for n, one in results.since(2)] == [(3, "a"), (4, "c")]
    assert [one.point for one in results.all] == ["b", "a", "c"]
    keep(results, "d")
    assert ([one.point for one in results.all], results.oldest) == (["a", "c", "d"], 3)


def test_a_value_without_limits_has_its_unit_and_tells_that_no_certificate_covers_it() -> None:
    found = Measured(
        quantity="contact_resistance_ohm", value=166.9, uncertainty=1.0, dof=50, age_s=0.0
    )
    result = Result(
        stage="as_found",
        step="s",
        point="clear",
        kind="contact_quality",
        verdict="pass",
        measured=found,
        traceability="not covered",
    )
    shown = result_picture(result)
    assert (shown.unit, shown.ground) == ("ohm", "not traceable")
