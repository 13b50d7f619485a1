"""Whether the results of a record fit its activations and the moves of its trims."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from ohmwright.model.event import (
    ActivationClosed,
    Event,
    PointDone,
    RunFinished,
    StepStarted,
    TrimMoved,
)
from ohmwright.model.result import Result

from .resume import on_time_s, split_at_resumptions

_KINDS = frozenset(
    ("adjust", "crest_factor", "half_and_full", "leakage", "monotonicity", "output", "power_curve")
) | {"sweep"}
"""Of the steps each of whose results has an activation of its own; steps of other packages may
share one."""
_SLACK_S = 0.5
"""Difference of times that is none: a reading is dated at the end of the meter's window, and times
on are rounded."""


@dataclass
class _SinceResult:
    """What a part of a record has since its last result."""

    on_s: list[float] = field(default_factory=list[float])
    """How long RF was on, by activation."""
    moved: Counter[str] = field(default_factory=Counter[str])
    """Counts by which each trim was moved since its step began."""


def misfit_results(events: Sequence[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each event that activations or moves on record contradict."""
    number = 0
    for part in split_at_resumptions(events):
        since = _SinceResult()
        for event in part:
            number += 1
            match event:
                case ActivationClosed():
                    since.on_s.append(event.on_s)
                case StepStarted():
                    since.moved.clear()
                case TrimMoved():
                    since.moved[event.point] += event.counts
                case PointDone(result=result):
                    for said in _what_misfits(result, since):
                        yield number, f"{result.step}, {result.point}: {said}"
                    since = _SinceResult()
                case RunFinished():
                    yield from ((number, said) for said in _too_short(event, events))


def _what_misfits(result: Result, since: _SinceResult) -> Iterator[str]:
    """Yield what activations and moves since the result before say against a result."""
    if result.kind not in _KINDS:
        return
    longest_s, sum_s = max(since.on_s, default=0.0), sum(since.on_s)
    if result.samples and not since.on_s:
        yield "it has readings, and no activation is on record since the result before it"
    elif result.samples and result.samples[-1].age_s > longest_s + _SLACK_S:
        yield (
            f"it was read until {result.samples[-1].age_s:.1f} s, and RF was off at "
            f"{longest_s:.1f} s"
        )
    elif result.on_s > sum_s + _SLACK_S and since.on_s:
        yield f"RF was on for {result.on_s:.1f} s, and its activations add up to {sum_s:.1f} s"
    if since.on_s and result.measured is not None and not result.samples:
        yield "it has a value and activations, and no reading"
    if result.start_trim is not None and result.final_trim is not None:
        counted, moved = result.final_trim - result.start_trim, since.moved[result.point]
        if counted != moved:
            yield (
                f"its trim went from {result.start_trim} to {result.final_trim}, and its moves on "
                f"record add up to {moved:+d}"
            )


def _too_short(end: RunFinished, events: Iterable[Event]) -> Iterator[str]:
    """Yield that the time with RF on is less than that of the activations on record."""
    counted_s = on_time_s(events)
    if end.on_s < counted_s - _SLACK_S:
        yield f"RF was on for {end.on_s:.1f} s, and its activations add up to {counted_s:.1f} s"
