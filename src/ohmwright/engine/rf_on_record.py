"""Whether the results of a record fit its activations and the moves of its trims."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain

from ohmwright.model.event import (
    ActivationClosed,
    ActivationOpened,
    Event,
    PointDone,
    RunFinished,
    ServiceLeft,
    StepStarted,
    TrimMoved,
    TrimsStored,
)
from ohmwright.model.result import Result

from .run_so_far import on_time_s, split_at_resumptions
from .steps import step_kind

_SLACK_S = 0.5
"""Difference of times that contradicts nothing: a reading is dated at the end of the meter's
window, and times with RF on are rounded; no source."""


@dataclass
class _SinceResult:
    """What a part of a record has since its last result."""

    on_s: list[float] = field(default_factory=list[float])
    """How long RF was on, by activation."""
    opened: ActivationOpened | None = None
    """The last activation, as it was to begin."""
    moved: Counter[str] = field(default_factory=Counter[str])
    """Counts by which each trim was moved in the present step."""
    unstored: Counter[str] = field(default_factory=Counter[str])
    """Those of them that leaving service mode would undo."""

    def undo_unstored(self) -> None:
        """Service mode was left: what was not stored there is undone."""
        self.moved.subtract(self.unstored)
        self.unstored.clear()


@dataclass
class _Trims:
    """Where the trims stood by the results so far, by point."""

    first: dict[str, int] = field(default_factory=dict[str, int])
    """Before they were adjusted first."""
    last: dict[str, int] = field(default_factory=dict[str, int])

    def misfit(self, result: Result, moved: int) -> Iterator[str]:
        """Yield that a result has another trim than its moves give; keep its trim for the next one.

        Of a point that was checked or adjusted again the trims count on from its earlier results.
        """
        start, final = result.start_trim, result.final_trim
        if start is None or final is None:
            return
        again = result.again is not None and result.point in self.last
        before = self.last[result.point] if again else start
        if final != before + moved or (again and start != self.first[result.point]):
            yield (
                f"its trim went from {start} to {final}; it stood at {before}, and its moves on "
                f"record add up to {moved:+d}"
            )
        self.first.setdefault(result.point, start)
        self.last[result.point] = final


def misfit_results(events: Sequence[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each event that activations or moves on record contradict."""
    number, trims = 0, _Trims()
    for part in split_at_resumptions(events):
        since = _SinceResult()
        for event in part:
            number += 1
            match event:
                case ActivationOpened():
                    since.opened = event
                case ActivationClosed():
                    since.on_s.append(event.on_s)
                case StepStarted():
                    since.moved.clear()
                    since.unstored.clear()
                case TrimMoved():
                    since.moved[event.point] += event.counts
                    since.unstored[event.point] += event.counts
                case TrimsStored():
                    since.unstored.clear()
                case ServiceLeft():
                    since.undo_unstored()
                case PointDone(result=result):
                    moved = since.moved[result.point]
                    for said in chain(_what_misfits(result, since), trims.misfit(result, moved)):
                        yield number, f"{result.step}, {result.point}: {said}"
                    since = _SinceResult()
                case RunFinished():
                    yield from ((number, said) for said in _too_short(event, events))


def _what_misfits(result: Result, since: _SinceResult) -> Iterator[str]:
    """Yield what the activations since the result before say against a result."""
    if not step_kind(result.kind).activates_for_each_result:
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
    if result.samples and since.opened is not None:
        yield from _opened_otherwise(result, since.opened)


def _opened_otherwise(result: Result, opened: ActivationOpened) -> Iterator[str]:
    """Yield load and setting of a result that are not those of its activation."""
    for key in ("load_ohm", "setting_w"):
        said, chosen = getattr(result, key), getattr(opened, key)
        if None not in (said, chosen) and said != chosen:
            yield f"{key} is {said}, and its activation was opened with {chosen}"


def _too_short(end: RunFinished, events: Iterable[Event]) -> Iterator[str]:
    """Yield that the time with RF on is less than that of the activations on record."""
    counted_s = on_time_s(events)
    if end.on_s < counted_s - _SLACK_S:
        yield f"RF was on for {end.on_s:.1f} s, and its activations add up to {counted_s:.1f} s"
