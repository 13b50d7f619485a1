"""Sentences about the parts of a run: protections of the bench, interruptions, the room."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import zip_longest

from ohmwright.model.errors import OffNotProved, ReleaseNotConfirmed
from ohmwright.model.event import Fault
from ohmwright.model.protections import Protections
from ohmwright.model.traceability import Environment, Told

from .run_parts import REASON_NOT_RECORDED, RunPart
from .text import NOT_RECORDED, minute_text, printable


def room_text(room: Environment | None, operator: str) -> str:
    """Temperature and humidity of a room and who told them, or that they are not recorded."""
    if room is None:
        return NOT_RECORDED
    figures = (
        (room.temperature_c, "°C", room.temperature_told_by),
        (room.humidity_percent, "% relative humidity", room.humidity_told_by),
    )
    told = [(f"{value:g} {unit}", by) for value, unit, by in figures if value is not None]
    said = ", ".join(figure for figure, _ in told)
    whose = dict.fromkeys(_told_by(by, operator) for _, by in told)
    if len(whose) > 1:
        said = ", ".join(f"{figure} ({_told_by(by, operator)})" for figure, by in told)
        return f"{said}; not measured"
    return f"{said} ({next(iter(whose))}, not measured)" if told else NOT_RECORDED


def _told_by(who: Told | None, operator: str) -> str:
    """By whom a figure of the room was told; records of earlier versions do not say."""
    if who is None:
        return "as told"
    return f"as told by {operator if who == 'the operator' else who}"


_UNPROVED = "as data and command sets say; none was proved with RF on before the run began"
_KEYED_BY_FOOT = "nothing of this was proved with RF on: only the person at the switch could end it"


BENCH_HEADING = "What protected this bench, and who had to stand by"


def protection_lines(parts: Sequence[RunPart]) -> Iterable[str]:
    """Who must stand by; then each protection against RF that stays on, present or absent.

    The part of the run is named where parts differ.
    """
    alike = len({(part.protections, part.proofs) for part in parts}) == 1
    for part in parts[:1] if alike else parts:
        named = "" if alike else f"part {part.number}: "
        if part.protections is None:
            yield f"{named}{NOT_RECORDED}"
            continue
        yield f"{named}{_who_stands_by(part.protections, part)}"
        if part.protections.guard_words:
            yield f"{named}{part.protections.guard_words}"
        if part.protections.by_hand:
            done = ", ".join(part.protections.by_hand)
            yield printable(f"{named}done by hand, as told by {part.operator}: {done}")
        for words, there in part.protections.words():
            yield f"{named}{words}" if there else f"{named}absent: {words}"
        for proof in part.proofs:
            yield printable(f"{named}seen to work with RF on: {proof}")
        if not part.proofs:
            yield f"{named}{_KEYED_BY_FOOT if part.protections.foot_switch else _UNPROVED}"


def _who_stands_by(protections: Protections, part: RunPart) -> str:
    """Who must be at such a bench while RF is on, and who was where a person pressed keys."""
    if protections.grade == "unattended" and part.pressed_with_rf_on:
        return (
            "a person worked the unit's keys while RF was on; for the bench itself, nobody would "
            "need to stand by"
        )
    return protections.grade_words


def fault_text(fault: Fault) -> str:
    """What ended a part early; of RF that may have been on, when that was said."""
    said = f"{minute_text(fault.at)}: “{fault.message.rstrip('.')}.”"
    match fault.error:
        case ReleaseNotConfirmed.__name__:
            no_later = "No later reading of RF is on record: see at the bench that it is off."
            return f"{said} {no_later}"
        case OffNotProved.__name__:  # it was read as off
            return said
    return fault.message


def rf_not_ended_text(part: RunPart) -> str:
    """What a part that was cut off in an activation says of RF; empty where its end is on record.

    RF may have come on after its event or not: the record holds neither.
    """
    opened = part.unended
    if opened is None or part.cut_short_by != REASON_NOT_RECORDED:
        return ""
    limit = (
        "without a time limit"
        if opened.limit_s is None
        else f"with a limit of {opened.limit_s:g} s"
    )
    return (
        f"RF: an activation was begun {minute_text(opened.at)} {limit}, and no reading of off is "
        "on record after that. See at the bench that RF is off."
    )


def _rf_open_text(following: RunPart | None) -> str:
    """What is said of RF that was left open, and by whose word it was off in the part after it."""
    said = " RF was not known to be off then, and for how long it stayed on is not on record"
    if following is None:
        return f"{said}."
    by_hand = () if following.protections is None else following.protections.by_hand
    told = f"off as told by {following.operator}" if "reading" in by_hand else "read as off"
    return f"{said}; the next part began with the output {told}."


def _end_text(part: RunPart, *, is_last: bool) -> str:
    """How a part ended; of the last one without an end on record, that it may go on still."""
    ended = minute_text(part.ended_at)
    if not part.cut_short_by:
        return f"finished {ended}"
    if is_last and part.cut_short_by == REASON_NOT_RECORDED:
        return f"no end is on record after {ended}: it goes on still, or was cut short"
    return f"interrupted {ended}: {part.cut_short_by.rstrip('.')}"


def interruption_lines(parts: Sequence[RunPart]) -> Iterable[str]:
    """One line for each part of an interrupted run: who, when, how it ended, and in which room.

    Nothing for a run that was not interrupted.
    """
    if len(parts) == 1:
        return
    for part, following in zip_longest(parts, parts[1:]):
        how = "begun" if part.number == 1 else "resumed"
        end = _end_text(part, is_last=following is None)
        count = len(part.results)
        left = f" Left open: {part.left_open.rstrip('.')}." if part.left_open else ""
        left += _rf_open_text(following) if part.rf_left_open else ""
        changed = f" Changed: {', '.join(part.changed)}." if part.changed else ""
        yield printable(
            f"Part {part.number}: {how} {minute_text(part.begun_at)} by "
            f"{part.operator or NOT_RECORDED}; {end}. {count} result{'' if count == 1 else 's'}. "
            f"Room: {room_text(part.environment, part.operator)}.{changed}{left}"
        )
