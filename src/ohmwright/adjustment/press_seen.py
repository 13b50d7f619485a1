"""Which presses the meter showed: the most probable ones, and which earlier ones stay in doubt."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from .actions import Press
from .press_hypotheses import HowDone, Suspect
from .press_weighing import PressWeighing

SURE = 0.97
"""Probability from which on it is decided."""
MAY_BE_NOTHING, CLEARLY_NOTHING = 0.1, 0.9
"""Probability of nothing with which nothing is to be seen, though presses may have done little, and
with which they have not."""
_CLEAR, _LEAST_DOUBT = 0.8, 1e-6
"""Probability from which on an earlier cue is taken for another, and the least that is kept."""


class SeenPress(NamedTuple):
    """One press as the meter showed it: age of the activation, in s; down is -1."""

    age_s: float
    press: Press


@dataclass(frozen=True)
class PressesSeen:
    """What the meter showed of the presses that were asked for.

    `presses`: each with its age, 0 where they were made before RF came on; `probability`: that it
    was these; `told_apart`: whether the readings could tell them from any slip, which needs a gain
    that is known; `suspect`: what was really done at an earlier cue, where that shows now.
    """

    done: HowDone
    presses: tuple[SeenPress, ...]
    probability: float
    as_asked: float
    """Probability that all of it was done as asked, and what came before as believed."""
    told_apart: bool
    clearly_nothing: bool
    """Whether nothing was pressed, or what was pressed does next to nothing."""
    other_sign: float
    """How much likelier the readings are if the gain has the other sign than as believed."""
    suspect: Suspect | None
    suspects: tuple[Suspect, ...]
    """What may be said of earlier cues after this one; empty where nothing is in doubt."""


def presses_seen(weighed: PressWeighing) -> PressesSeen:
    """Return the most probable presses, and which earlier ones stay in doubt.

    With RF on, no press is taken for done that does not show.
    """
    doubts = _doubts(weighed)
    believed = _believed(weighed, doubts)
    probability, top = next(
        (p, case)
        for p, case in weighed.likely
        if case.suspect.gain_ratio == believed.gain_ratio
        and (weighed.cue_s is None or weighed.nothing <= MAY_BE_NOTHING or not case.what.presses)
    )
    first_s, spacing_s = (0.0, 0.0) if weighed.cue_s is None else top.mean_times
    presses = tuple(
        SeenPress(first_s + n * spacing_s, press)
        for n, press in enumerate(_singly(top.what.presses))
    )
    sure = max(doubt.probability for doubt in doubts) > SURE
    return PressesSeen(
        done=top.what.done,
        presses=presses,
        probability=probability,
        as_asked=sum(
            p
            for p, case in weighed.likely
            if case.what.done == "as asked" and case.suspect.gain_ratio == 1
        ),
        clearly_nothing=weighed.nothing > CLEARLY_NOTHING,
        told_apart=probability > SURE and (weighed.gain_known or not presses),
        other_sign=weighed.other_sign,
        suspect=None if believed.gain_ratio == 1 else believed,
        suspects=() if sure else doubts,
    )


def _doubts(weighed: PressWeighing) -> tuple[Suspect, ...]:
    """Return what may have been done at an earlier cue, with its probability by now."""
    doubts = []
    for suspect in weighed.suspects:
        chance = weighed.chance_of(suspect)
        doubts.append(suspect._replace(probability=max(chance, _LEAST_DOUBT)))
    return tuple(doubts)


def _believed(weighed: PressWeighing, doubts: tuple[Suspect, ...]) -> Suspect:
    """Return what is taken for done at an earlier cue: as believed, if nothing else is clear."""
    likeliest = max(doubts, key=lambda doubt: doubt.probability)
    return likeliest if likeliest.probability > _CLEAR else weighed.suspects[0]


def _singly(presses: tuple[Press, ...]) -> Iterator[Press]:
    for press in presses:
        for _ in range(abs(press.times)):
            yield Press(press.key, 1 if press.times > 0 else -1)
