"""The same seed gives the same results: a change of the arithmetic that moves one shows here.

The values are this program's own, kept when the tests about truth and coverage held. A change that
moves them for a good reason replaces the file, and says why in its commit:

    ohmwright demo --seed 3 --json > demo.json && python -m tests.engine.test_same_seed demo.json
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest

from ohmwright.engine.run_so_far import results
from ohmwright.model.event import Event

from .conftest import Rig

KEPT = Path(__file__).parent / "data/demo-seed-3.json"


def row(result: dict[str, Any]) -> dict[str, Any]:
    """What is kept of a result; absent where there is none."""
    measured, held = result["measured"] or {}, result["conformity"] or {}
    values = {
        **{key: result[key] for key in ("stage", "step", "point", "verdict")},
        **{key: measured.get(key) for key in ("value", "uncertainty", "dof", "expanded")},
        "probability": held.get("probability"),
        **{key: result.get(key) for key in ("on_s", "final_trim")},
    }
    return {key: value for key, value in values.items() if value is not None}


def test_the_demo_gives_the_results_that_it_gave(whole_job: tuple[Rig, tuple[Event, ...]]) -> None:
    rows = [row(result.model_dump(mode="json")) for result in results(whole_job[1])]
    kept = json.loads(KEPT.read_text("utf-8"))
    assert [r["point"] for r in rows] == [r["point"] for r in kept]
    for now, before in zip(rows, kept, strict=True):
        assert same(now, before), (now, before)


def same(now: dict[str, Any], before: dict[str, Any]) -> bool:
    """Whether all that was kept agrees: figures to a millionth, since last bits differ.

    What no certificate covers was kept without a probability, as `--json` states none.
    """
    return before.keys() <= now.keys() and all(
        now[key] == pytest.approx(before[key], rel=1e-6)
        if isinstance(before[key], float)
        else now[key] == before[key]
        for key in before
    )


if __name__ == "__main__":
    told = json.loads(Path(sys.argv[1]).read_text("utf-8"))["results"]
    KEPT.write_text("[\n" + ",\n".join(json.dumps(row(r)) for r in told) + "\n]\n", "utf-8")
