"""A whole is only as good as its worst point."""

import pytest

from ohmwright.model.result import Verdict, worst


@pytest.mark.parametrize(
    ("verdicts", "whole"),
    [
        (["pass", "pass"], "pass"),
        (["pass", "undecided", "fail"], "fail"),
        (["pass", "undecided"], "undecided"),
        (["pass", "not measured"], "not measured"),
        ([], "not measured"),
    ],
)
def test_worst(verdicts: list[Verdict], whole: Verdict) -> None:
    assert worst(verdicts) == whole
