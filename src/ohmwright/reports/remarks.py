"""What people said and what befell the work beside its results, in words for a paper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ohmwright.model.event import Asked, Event, PointDone, ServiceLeft, SlowRelease, UnaskedRf
from ohmwright.model.result import Result

from .text import UNKNOWN, minute, shown, unit_of, value_and_u

_SAID = {"comment": "comment", "skip": "skipped", "back": "went back", "no answer": "no answer"}
"""What an answer that is none of the question's own means; a stop is told as an interruption."""


def remarks_of(events: Sequence[Event]) -> tuple[str, ...]:
    """One line each, oldest first: comments, skips, what was undone, what was measured again."""
    return tuple(shown(line) for line in (*_told(events), *_again(events)))


def _told(events: Iterable[Event]) -> Iterable[str]:
    for event in events:
        if isinstance(event, Asked) and event.answer in _SAID:
            words = f": {event.words}" if event.words else ""
            who = event.told_by or UNKNOWN
            yield (
                f"{minute(event.at)}, {who}, asked \u201c{event.question}\u201d: "
                f"{_SAID[event.answer]}{words}"
            )
        elif isinstance(event, SlowRelease):
            yield f"{minute(event.at)}: after OFF the output took {event.took_s:.1f} s to go off"
        elif isinstance(event, UnaskedRf):
            yield (
                f"{minute(event.at)}: RF was on though nobody had asked for it ({event.seen}); OFF "
                "ended it"
            )
        elif isinstance(event, ServiceLeft):
            how = f", as told by {event.told_by}" if event.told_by else ""
            yield (
                f"{minute(event.at)}: service mode at {event.point} left without saving{how}: "
                "moves that were not stored are undone"
            )


def _again(events: Iterable[Event]) -> Iterable[str]:
    """Results that a later one of the same point took the place of: nothing goes unsaid."""
    standing: dict[tuple[str, str, str], Result] = {}
    for event in events:
        if isinstance(event, PointDone):
            result = event.result
            key = (result.stage, result.step, result.point)
            if key in standing:
                where = f"{result.stage.replace('_', ' ')}, {result.step}, {result.point}"
                yield f"{minute(event.at)}: {where} done again; before: {_outcome(standing[key])}"
            standing[key] = result


def _outcome(result: Result) -> str:
    said = [result.verdict, result.reason]
    if result.measured is not None:
        value, expanded = value_and_u(result.measured)
        unit = unit_of(result.target, result.measured)
        said.insert(0, f"{value} ± {expanded} {unit}" if expanded else f"{value} {unit}")
    return ", ".join(filter(None, (part.strip() for part in said)))
