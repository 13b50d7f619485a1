"""A priority is raised where it is the usual one and the system lets it; else nothing happens."""

import os
import sys

import pytest

from ohmwright.wire.machine_priority import run_before_others

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="priorities of POSIX")


@pytest.mark.parametrize(("before", "asked"), [(0, [-10]), (5, []), (-3, [])])
@pytest.mark.parametrize("allowed", [True, False])
def test_a_priority_is_raised_once_where_it_is_the_usual_one(
    monkeypatch: pytest.MonkeyPatch, before: int, asked: list[int], allowed: bool
) -> None:
    tried = list[int]()

    def set_priority(_: int, process: int, priority: int) -> None:
        assert process == 0
        tried.append(priority)
        if not allowed:
            raise PermissionError

    monkeypatch.setattr(os, "getpriority", lambda *_: before)
    monkeypatch.setattr(os, "setpriority", set_priority)
    run_before_others()
    assert tried == asked
