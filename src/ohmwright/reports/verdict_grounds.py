"""What a verdict rests on: an analyzer certificate, in date or past due, or the readings alone."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from ohmwright.model.result import Result, Verdict, asks_nothing
from ohmwright.model.traceability import Traceability
from ohmwright.records.qualified import Key, Qualified

from .text import printable

UNCOVERED = "not traceable"
"""Said of values that no analyzer certificate covers, and of verdicts by them."""
NOTHING_DECIDED = "no limits to decide by"
"""Said of a run of sweeps, whose verdict is `undecided` since nothing is there to pass or fail."""
PAST_DUE = "analyzer past due"
"""Said of values by an analyzer certificate that was past its date, and of verdicts by them."""
READINGS_MARK = "*"
"""Stands behind a verdict by the readings alone; in lists also by an analyzer past due."""
UNCOVERED_NOTE = (
    f"{READINGS_MARK} in all or in part {UNCOVERED}: no analyzer certificate covers those values, "
    "and how far the analyzer was off is not known."
)
"""Stands beneath a list of verdicts where some have that mark for it."""
RISK_NOTE = (
    f"{READINGS_MARK} in all or in part {UNCOVERED}: no analyzer certificate covers those values, "
    "so that it says how the readings lie, not the output."
)
"""Stands beneath a list of risks where some have that mark for it."""
PAST_DUE_NOTE = (
    f"{READINGS_MARK} in all or in part by an analyzer past due: how far it had moved since its "
    "certificate's date is not known."
)
"""Stands beneath either list where some have that mark for it."""

_NAMED = "the instrument is as the person named it, and its certificate is not kept here"
_NOT_NAMED = "which instrument, and by what calibration, is not on record unless a remark says it"


def is_by_readings_alone(result: Result) -> bool:
    """Whether no analyzer certificate covers the value, so that U lacks the analyzer's accuracy."""
    return result.traceability in ("none", "not covered")


def readings_mark(result: Result) -> str:
    """The mark behind a verdict by the readings alone; empty behind others."""
    return READINGS_MARK if is_by_readings_alone(result) else ""


def is_past_due(result: Result) -> bool:
    """Whether the value rests on an analyzer certificate that was past its date."""
    return isinstance(result.traceability, Traceability) and result.traceability.expired


def ground_of(result: Result) -> str:
    """How the verdict of one value is to be qualified; empty where it is not."""
    if is_by_readings_alone(result):
        return UNCOVERED
    return PAST_DUE if is_past_due(result) else ""


def words_of_grounds(key: Key, marked: Qualified[Key]) -> str:
    """How verdict or risk of something in a list is to be qualified; empty where it is not."""
    said = ((UNCOVERED, marked.uncovered), (PAST_DUE, marked.past_due))
    return ", ".join(words for words, keys in said if key in keys)


def covered(results: Iterable[Result]) -> tuple[Result, ...]:
    """The results whose U, P and TUR lack nothing of the analyzer."""
    return tuple(result for result in results if not is_by_readings_alone(result))


def said_verdict(verdict: Verdict, results: Collection[Result]) -> str:
    """The verdict of a run or stage; of values without limits, that they are measured."""
    return "measured" if asks_nothing(results) else verdict


def qualification(results: Iterable[Result]) -> str:
    """How a verdict is to be qualified; empty where every certificate covers and was in date.

    Answers of persons, and values that need no scale of the analyzer, are not by readings alone.
    """
    every = tuple(results)
    past_due = PAST_DUE if past_due_text(every) else ""
    limitless = NOTHING_DECIDED if asks_nothing(every) else ""
    return ", ".join(filter(None, (limitless, uncovered_text(every), past_due)))


def uncovered_text(results: Iterable[Result]) -> str:
    """That values are by the readings alone, all or in part; empty where none is."""
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
    if not uncovered_text(results):
        return ""
    return (
        f"{READINGS_MARK} behind a verdict: {UNCOVERED}, for want of an analyzer certificate "
        "that covers the value. How far the analyzer is off is not known: PASS and FAIL say where "
        "its readings lie, and no conformity of the output with the limits is stated. Behind ± is "
        "their scatter and what else U holds, without a certified accuracy of the analyzer, so "
        "that it covers the true value with no stated probability; there is no P and no TUR."
    )


def past_due_text(results: Iterable[Result]) -> str:
    """What verdicts and figures by an analyzer past due rest on; empty where there are none."""
    if not any(r.measured is not None and is_past_due(r) for r in results):
        return ""
    return (
        f"{PAST_DUE.capitalize()}: its certificate was past due when it was used, and somebody "
        "chose to go on. How far it moved since that date nobody has seen: U, P, TUR and verdicts "
        "hold as far as a calibration afterwards finds the analyzer within that certificate."
    )


def typed_text(results: Iterable[Result]) -> str:
    """What a figure of another instrument states; empty where none was typed."""
    typed = [r for r in results if r.traceability == "another instrument"]
    if not typed:
        return ""
    said = [
        "Figures that a person read from another instrument and typed "
        f"({', '.join(dict.fromkeys(steps))}): {known}."
        for steps, known in (
            ([r.step for r in typed if r.instrument], _NAMED),
            ([r.step for r in typed if not r.instrument], _NOT_NAMED),
        )
        if steps
    ]
    said.append(
        "PASS and FAIL say how a figure lies as it was typed; it has no U, no P and no TUR."
    )
    return printable(" ".join(said))
