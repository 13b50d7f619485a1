"""What a practice came to: each slip that truly happened, beside what the coach said of it.

A slip is by the simulator's truth: presses that were made beside those that were asked for. What
the coach said comes from the meter alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Literal, NamedTuple

from ohmwright.adjustment.actions import Press
from ohmwright.engine.coach_words import (
    CHANGED_NOTHING,
    NAMES,
    NAMES_EARLIER,
    NAMES_NONE,
    NAMES_SLIP,
    presses_words,
)
from ohmwright.model.base import FrozenModel

from .overheard import CoachRemark, CueGiven

SlipKind = Literal[
    "nothing taken by the unit",
    "too few",
    "too many",
    "other key",
    "other direction",
    "something else",
]
_HELD_BACK_S = 0.3
"""A press so soon after a cue belongs to what was asked for before: hardly anybody reads and acts
faster; from memory, no source."""
_NAMES: dict[SlipKind, tuple[str, ...]] = {
    "nothing taken by the unit": (NAMES["none"], NAMES_NONE, CHANGED_NOTHING),
    "too few": (NAMES["fewer"],),
    "too many": (NAMES["more"],),
    "other key": (NAMES["other key"],),
    "other direction": (NAMES["other direction"],),
    "something else": ("",),
}
"""What the coach's words for each kind contain; empty: any words name it."""
Pressed = tuple[float, Literal["coarse", "fine"], Literal["up", "down"]]
"""A press that the unit took: its time in s of the bench's clock, key and direction."""


class SlipSeen(FrozenModel):
    """Presses that were not as they were asked for."""

    at_s: float
    """When they were asked for, in s of the bench's clock."""
    kind: SlipKind
    asked: str
    """In words, such as `coarse up 2 times`."""
    done: str
    """The same of what was pressed; `nothing` where that was none."""
    noticed: bool = False
    """Whether the coach named a slip."""
    otherwise: bool = False
    """Whether the coach named another slip than it was."""
    said: str = ""
    """What the coach said of it, or next where it noticed nothing; empty where that was nothing."""
    said_after_s: float | None = None
    """Time from being asked until that was said; None where nothing was."""


class Effort(FrozenModel):
    """What adjusting a unit took."""

    presses: int
    rf_on_s: float
    """By the simulator's truth."""
    bench_s: float


class Debrief(FrozenModel):
    """What a practice came to."""

    asked: int
    """How often presses were asked for, without those that still stood."""
    standing: str = ""
    """Presses that still stood to be made when it ended, in words; empty where none did."""
    untrue: tuple[str, ...] = ()
    """What was called done or right though the unit's panel showed otherwise, as sentences."""
    slips: tuple[SlipSeen, ...]
    unfounded: tuple[str, ...]
    """What the coach said of slips where none had happened."""
    unasked: str
    """Presses before any were asked for, in words; empty where there were none."""
    you: Effort
    practised: Effort | None = None
    """A simulated person without slips on the same unit; None where that was not computed."""

    @property
    def noticed(self) -> int:
        """How many slips the coach named as what they were."""
        return sum(slip.noticed and not slip.otherwise for slip in self.slips)


def debrief(
    asked: Sequence[CueGiven],
    said: Sequence[CoachRemark],
    pressed: Sequence[Pressed],
    over_s: float | None,
    you: Effort,
    untrue: Sequence[str] = (),
) -> Debrief:
    """Return what a practice came to; `over_s`: when the last presses were no longer wanted.

    `untrue`: answers that the unit's panel contradicts, in words.
    """
    answers = tuple(_answers(asked, pressed, over_s))
    slips = tuple(_slips(answers))
    noticed, unfounded = _noticed(slips, said)
    standing = tuple(answer.asked.press for answer in answers if answer.stands)
    first_s = asked[0].at_s if asked else float("inf")
    before = [each for each in pressed if each[0] < first_s]
    return Debrief(
        asked=len(asked) - len(standing),
        standing=presses_words(standing),
        slips=noticed,
        unfounded=unfounded,
        unasked=presses_words(_presses(before)),
        you=you,
        untrue=tuple(untrue),
    )


class _Answer(NamedTuple):
    """Presses that were asked for, and those that were made of them or in their place."""

    asked: CueGiven
    done: tuple[Press, ...]
    stands: bool
    """Whether they were still wanted when it ended, and none was made."""


def _answers(
    asked: Sequence[CueGiven], pressed: Sequence[Pressed], over_s: float | None
) -> Iterator[_Answer]:
    """Yield each request with what was pressed until the next one."""
    if not asked:
        return
    begins_s = [each.at_s + (0.0 if n == 0 else _HELD_BACK_S) for n, each in enumerate(asked)]
    last_s = float("inf") if over_s is None else over_s + _HELD_BACK_S
    ends_s = [*begins_s[1:], last_s]
    for one, begin_s, end_s in zip(asked, begins_s, ends_s, strict=True):
        done = _presses([each for each in pressed if begin_s <= each[0] < end_s])
        yield _Answer(one, done, stands=end_s == float("inf") and not done)


def _slips(answers: Iterable[_Answer]) -> Iterator[SlipSeen]:
    """Yield each request that was not done as asked; one that still stands is no slip."""
    for (at_s, press), done, stands in answers:
        kind = _kind(press, done)
        if kind is not None and not stands:
            yield SlipSeen(
                at_s=at_s,
                kind=kind,
                asked=presses_words((press,)),
                done=presses_words(done) or "nothing",
            )


def _kind(asked: Press, done: tuple[Press, ...]) -> SlipKind | None:
    """Return how presses differ from those asked for; None where they do not."""
    if not done:
        return "nothing taken by the unit"
    if len(done) > 1:
        return "something else"
    (only,) = done
    if only == asked:
        return None
    same_way = only.times * asked.times > 0
    if only.key == asked.key and same_way:
        return "too few" if abs(only.times) < abs(asked.times) else "too many"
    if only.key == asked.key:
        return "other direction"
    return "other key" if same_way else "something else"


def _presses(pressed: Sequence[Pressed]) -> tuple[Press, ...]:
    """Return presses in their order, those of one key and direction in a row as one."""
    found: list[Press] = []
    for _, key, direction in pressed:
        step = 1 if direction == "up" else -1
        if found and found[-1].key == key and found[-1].times * step > 0:
            found[-1] = Press(key, found[-1].times + step)
        else:
            found.append(Press(key, step))
    return tuple(found)


def _noticed(
    slips: Sequence[SlipSeen], said: Sequence[CoachRemark]
) -> tuple[tuple[SlipSeen, ...], tuple[str, ...]]:
    """Return the slips with what was said of each, and what was said of none."""
    found, unfounded = list(slips), list[str]()
    for one in said:
        before = [n for n, slip in enumerate(found) if not slip.noticed and slip.at_s < one.at_s]
        meant = _meant(one.words, before)
        if CHANGED_NOTHING in one.words:  # of all that was said to be done until then
            meant = {n for n in before if found[n].done == "nothing"}
        if names_slip(one.words) and not meant:
            unfounded.append(one.words)
        silent = [n for n in before[-1:] if n not in meant and found[n].said == ""]
        for n in (*meant, *silent):
            noticed = n in meant
            told = {"said": one.words, "said_after_s": one.at_s - found[n].at_s}
            otherwise = noticed and not _names(one.words, found[n].kind)
            found[n] = found[n].model_copy(
                update={"noticed": noticed, "otherwise": otherwise, **told}
            )
    return tuple(found), tuple(unfounded)


def names_slip(words: str) -> bool:
    """Return whether these words of the coach name a slip."""
    return any(name in words for name in (*NAMES_SLIP, CHANGED_NOTHING))


def _names(words: str, kind: SlipKind) -> bool:
    """Return whether these words name a slip of this kind, or of any."""
    return any(name in words for name in (*_NAMES[kind], NAMES_EARLIER))


def _meant(words: str, before: Sequence[int]) -> set[int]:
    """Return which of the slips `before` these words name: the latest, the earliest, or both."""
    of_latest = any(name in words for name in NAMES_SLIP if name != NAMES_EARLIER)
    latest = {*before[-1:]} if of_latest else set[int]()
    return latest | ({*before[:1]} if NAMES_EARLIER in words else set())
