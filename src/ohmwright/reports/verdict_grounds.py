"""What a verdict rests on: an analyzer certificate, or the readings alone."""

from __future__ import annotations

from collections.abc import Iterable

from ohmwright.model.result import Result
from ohmwright.model.traceability import Traceability

UNCOVERED = "not traceable"
"""Said of values that no analyzer certificate covers, and of verdicts by them."""
READINGS_MARK = "*"
"""Stands behind a verdict by the readings alone."""
RISK_NOTE = (
    f"{READINGS_MARK} in all or in part {UNCOVERED}: no analyzer certificate covers those values, "
    "so that it says how the readings lie, not the output."
)
"""Stands beneath a list of risks where some have that mark."""


def is_by_readings_alone(result: Result) -> bool:
    """Whether no analyzer certificate covers the value, so that U lacks the analyzer's accuracy."""
    return result.traceability in ("none", "not covered")


def readings_mark(result: Result) -> str:
    """The mark behind a verdict by the readings alone; empty behind others."""
    return READINGS_MARK if is_by_readings_alone(result) else ""


def covered(results: Iterable[Result]) -> tuple[Result, ...]:
    """The results whose U, P and TUR lack nothing of the analyzer."""
    return tuple(result for result in results if not is_by_readings_alone(result))


def qualification(results: Iterable[Result]) -> str:
    """How PASS and FAIL are to be qualified; empty where no value is by the readings alone.

    Answers of persons, and values that need no scale of the analyzer, are not by readings alone.
    """
    valued = [result for result in results if result.measured is not None]
    if not any(map(is_by_readings_alone, valued)):
        return ""
    return f"in part {UNCOVERED}" if has_certificate(valued) else UNCOVERED


def has_certificate(results: Iterable[Result]) -> bool:
    """Whether any value rests on an analyzer certificate: else a paper certifies nothing."""
    return any(r.measured is not None and isinstance(r.traceability, Traceability) for r in results)


def may_be_accredited(results: Iterable[Result]) -> bool:
    """Whether words on an accreditation may stand: on an analyzer certificate that was in date.

    It must name the analyzer's serial number: else nobody but the bench file ties it to this one.
    """
    bases = {r.traceability for r in results if r.measured is not None}
    used = [basis for basis in bases if isinstance(basis, Traceability)]
    return bool(used) and not any(basis.expired or basis.serial == "" for basis in used)


def accreditation_limits(results: Iterable[Result]) -> str:
    """Which values words on an accreditation do not hold for; empty where for none."""
    if not any(r.measured is not None and is_by_readings_alone(r) for r in results):
        return ""
    return f"Not for results without an analyzer certificate (marked {READINGS_MARK})."


def readings_alone_text(results: Iterable[Result]) -> str:
    """What verdicts and U by the readings alone state; empty where there are none."""
    said = qualification(results)
    if not said:
        return ""
    return (
        f"{READINGS_MARK} behind a verdict: {UNCOVERED}, for want of an analyzer certificate. How "
        "far the analyzer is off is not known: PASS and FAIL say where its readings lie, and no "
        "conformity of the output with the limits is stated. Behind ± is their scatter and what "
        "else U holds, without the analyzer's accuracy, so that it covers the true value with no "
        "stated probability; there is no P and no TUR."
    )
