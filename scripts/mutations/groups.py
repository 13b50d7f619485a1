"""Which tests a change is tried on, group after group, the quickest to notice it first."""

from __future__ import annotations

from pathlib import Path

from .sites import Change

Group = tuple[str, ...]
"""Files and folders of tests, in the order in which they run."""
PUBLISHED: Group = ("tests/published",)
_SAME_SEED: Group = ("tests/engine/test_same_seed.py",)
_ROOMS = {
    "uncertainty": ("tests/uncertainty",),
    "model": ("tests/model",),
    "estimation": ("tests/estimation",),
    "engine": (
        "tests/engine/test_judge.py",
        "tests/engine/test_measured_value.py",
        "tests/engine/test_accuracy.py",
        "tests/engine/test_difference.py",
        "tests/engine/test_crest_factor_value.py",
        "tests/engine/test_stop_rules.py",
        "tests/engine/test_output_checks.py",
        "tests/engine/test_recomputed_values.py",
        "tests/engine/test_values_audit.py",
    ),
}
"""The tests of each room that holds arithmetic."""
_JOBS: Group = (
    "tests/engine/test_step_kinds.py",
    "tests/engine/test_evidence.py",
    "tests/engine/test_traceability.py",
    "tests/engine/test_adjustment_activation.py",
    "tests/engine/test_run.py",
    "tests/engine/test_adjust.py",
)
_ABOVE = (
    "tests/engine",
    "tests/reports",
    "tests/adjustment",
    "tests/records",
    "tests/rehearsal",
    "tests/api",
)
"""Rooms whose code calls the arithmetic.

The command line, the page and the harness of faults do, too, but take longer than all others
together, and look at how a run goes, not at what it says of a value.
"""


def groups(change: Change, root: Path) -> tuple[Group, ...]:
    """The groups to try the change on, one after the other, until one notices it.

    The first is that of the published values, and the last the longest by far.
    """
    module = Path(change.path).relative_to("src/ohmwright")
    own = Path("tests", module.parent, f"test_{module.name}")
    nearest = ((str(own),),) if (root / own).exists() else ()
    room = _ROOMS[module.parts[0]]
    others = (test for tests in _ROOMS.values() if tests != room for test in tests)
    return PUBLISHED, *nearest, _SAME_SEED, (*room, *others), _JOBS, _rest(root)


def _rest(root: Path) -> Group:
    """The files of `_ABOVE` that are in no other group."""
    others = {*_SAME_SEED, *_ROOMS["engine"], *_JOBS}
    found = (file for room in _ABOVE for file in sorted((root / room).glob("**/test_*.py")))
    names = (file.relative_to(root).as_posix() for file in found)
    return tuple(name for name in names if name not in others)
