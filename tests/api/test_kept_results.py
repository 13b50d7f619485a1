"""The results of a run, numbered: what is new since a number, and what is kept."""

from __future__ import annotations

from ohmwright.api.kept_results import KeptResults
from ohmwright.api.run_picture import result_picture
from ohmwright.model.result import Result


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
