"""What a procedure would do on a bench, and what is to be said of it: nothing is opened."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from ohmwright.api.bench_data import BenchData
from ohmwright.api.run_plan import planned_points
from ohmwright.engine.capability import complaints
from ohmwright.engine.foresight import foreseen
from ohmwright.engine.measured_value import Accuracy
from ohmwright.engine.plausibility import implausible
from ohmwright.engine.procedure_file import ProcedureFile
from ohmwright.engine.steps.base import Step, TimedStep
from ohmwright.engine.traceability import refuse_expired
from ohmwright.model.errors import CertificateExpired, OhmwrightError
from ohmwright.model.quantity import unit_of
from ohmwright.model.step import STAGES
from ohmwright.wire.clock import RealClock, VirtualClock

_NOT_SETTINGS = {"kind", "name", "stages", "note", "decision", "age_s", "rest_s", "max_on_s"}
"""Keys of a step that are shown elsewhere, or in the text alone."""
_PLACE = re.compile(r":(\d+):(\d+): ", re.ASCII)
"""Line and column in a complaint."""


def preview(file: ProcedureFile, data: BenchData, *, unattended: bool) -> dict[str, Any]:
    """Return steps with settings and times, the text, and findings with line and column."""
    procedure = file.procedure
    points = planned_points(procedure, STAGES)
    findings = list(_findings(file, data, unattended=unattended))
    return {
        "title": procedure.title,
        "revision": procedure.revision,
        "model": procedure.model,
        "file": file.path.name,
        "text": file.document.text,
        "findings": findings,
        "refused": any(one["severity"] == "refused" for one in findings),
        "stages": {
            stage: {
                "points": sum(point.stage == stage for point in points),
                "expected_s": sum(point.expected_s for point in points if point.stage == stage),
            }
            for stage in STAGES
        },
        "steps": [
            _step(file, step, sum(p.expected_s for p in points if p.step == step.name))
            for step in procedure.step
        ],
    }


def unreadable(problem: OhmwrightError, text: str, file: str) -> dict[str, Any]:
    """Return the preview of a file that is no procedure: its text and what is wrong with it."""
    findings = [_placed("error", line) for line in problem.happened.splitlines()]
    return {
        "title": "",
        "file": file,
        "text": text,
        "findings": findings,
        "refused": True,
        "stages": {},
        "steps": [],
    }


def _step(file: ProcedureFile, step: Step, expected_s: float) -> dict[str, Any]:
    timing = file.procedure.timing(step)
    times = {"age_s": timing.age_s, "rest_s": timing.rest_s, "max_on_s": timing.max_on_s}
    line, _ = file.position(step.name, "kind")
    return {
        "name": step.name,
        "kind": step.kind.replace("_", " "),
        "note": step.note,
        "stages": list(step.stages),
        "line": line,
        "points": list(step.point_names()),
        "settings": [[name, value] for name, value in _settings(step)],
        "times": times if isinstance(step, TimedStep) else None,
        "expected_s": expected_s,
    }


def _settings(step: Step) -> Iterator[tuple[str, str]]:
    """Yield each key of a step as a person reads it, with its value, which may be a default."""
    for key, value in step.model_dump(exclude_none=True).items():
        if key not in _NOT_SETTINGS | step.without_effect():
            yield _words(key), _value(key, value)


def _words(key: str) -> str:
    """Return a key in words, without its unit, which is shown with the value."""
    name = key.removesuffix(f"_{key.rpartition('_')[2]}") if unit_of(key).symbol else key
    return name.replace("_", " ")


def _part(key: str) -> str:
    """Return the name before a value within another; none for a tolerance's, which has a unit."""
    words = _words(key)
    return "" if words in ("percent", "absolute") else f"{words} "


def _value(key: str, value: Any) -> str:
    unit = unit_of(key).symbol
    match value:
        case bool():
            return "yes" if value else "no"
        case dict():
            given = {k: v for k, v in value.items() if v is not None}
            larger = ", the larger of the two" if {"percent"} < given.keys() else ""
            return ", ".join(f"{_part(k)}{_value(k, v)}" for k, v in given.items()) + larger
        case list() | tuple():
            return f"{', '.join(_value('', each) for each in value)} {unit}".rstrip()
        case float() | int():
            return f"{value:g} {unit}".rstrip()
        case _:
            return str(value)


def _findings(
    file: ProcedureFile, data: BenchData, *, unattended: bool
) -> Iterator[dict[str, Any]]:
    """Yield what `lint` says: what the bench cannot do, is hardly meant, or may not be decided.

    `lint` raises the first kind; here all of them stand beside the text.
    """
    abilities = data.abilities(attended=not unattended)
    for line in complaints(file, STAGES, abilities):
        yield _placed("refused", line.removeprefix(str(file.path)))
    today = (VirtualClock() if data.virtual_time else RealClock()).wall().date()
    accuracy = None if data.certificate is None else Accuracy(data.certificate, today)
    try:
        if data.certificate is not None:
            refuse_expired(data.certificate.traceability(today))
    except CertificateExpired as problem:
        yield {"severity": "refused", "line": 0, "column": 0, "step": "", "what": str(problem)}
    for one in (*implausible(file), *foreseen(file, STAGES, abilities, accuracy)):
        yield {
            "severity": one.severity,
            "line": one.line,
            "column": one.column,
            "step": one.step,
            "what": one.what,
        }


def _placed(severity: str, text: str) -> dict[str, Any]:
    """Return `…:line:column: what` as a finding; line 0 where it names no place."""
    found = _PLACE.search(text)
    line, column = (0, 0) if found is None else (int(found[1]), int(found[2]))
    what = text if found is None else text[found.end() :]
    return {"severity": severity, "line": line, "column": column, "step": "", "what": what}
