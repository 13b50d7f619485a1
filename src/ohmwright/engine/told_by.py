"""Who told what no instrument read: for the results and events of a run."""

from __future__ import annotations

from typing import Literal

from ohmwright.instruments.bench import Bench
from ohmwright.model.hardware import InputPath
from ohmwright.model.result import Result


def readings_told_by(bench: Bench) -> str | None:
    """Return the name of who types the readings; None where they come over a line."""
    return bench.operator.name if bench.analyzer.read_by_eye else None


def keyed_by(bench: Bench) -> str | None:
    """Return the name of who is at the foot switch; None where the analyzer keys the output."""
    return bench.operator.name if bench.analyzer.keyed_by_foot else None


def analyzer_told_by(
    bench: Bench, result: Result, path: InputPath | Literal["none"]
) -> dict[str, str | None]:
    """Return who did the analyzer's part in a result, by its fields; none where RF had no part."""
    if path == "none" or result.load_ohm is None:
        return {}
    return {
        "load_told_by": bench.operator.name if "load" in bench.analyzer.by_hand else None,
        "readings_told_by": readings_told_by(bench),
        "keyed_by": keyed_by(bench),
    }
