"""What a person may have done who was asked for presses: as asked, or one slip."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, NamedTuple

from .actions import Press
from .point import Keys

HowDone = Literal["as asked", "none", "fewer", "more", "other key", "other direction"]
"""How what was done compares with what was asked."""

SLIPS: dict[HowDone, float] = {
    "none": 0.02,
    "fewer": 0.02,
    "more": 0.02,
    "other key": 0.01,
    "other direction": 0.01,
}
"""Probability of each slip at one cue, before the meter has shown anything: common practice, no
source. Together one cue in twelve: high enough that readings can show the slips of a person who
slips at one in twenty."""


class PressesDone(NamedTuple):
    """One thing that may have been done, and how probable it is before any reading."""

    done: HowDone
    presses: tuple[Press, ...]
    """In the order in which they were asked for; empty where nothing was pressed."""
    probability: float
    """To be compared with those of the same request: they add up to a little less than 1 where a
    key was to be pressed once or twice, as there are fewer ways to press too few."""


class Suspect(NamedTuple):
    """An earlier cue that may have been done otherwise than was believed.

    `gain_ratio`: true gain over the gain that was learned from it; 1 where it was as believed.
    `counts`, `coarse`: how much farther up the trim stands than was believed, in nominal counts and
    in the coarse presses among them. `done`: how it compares with what was asked at that cue.
    """

    gain_ratio: float
    counts: int
    coarse: int
    done: HowDone
    probability: float


AS_BELIEVED = Suspect(1.0, 0, 0, "as asked", 1.0)
OTHER_SIGN = 0.1
"""Probability, once presses seem to have gone the other direction, that they went as asked, and
that the gain was learned with the wrong sign, from a rise that was still going on. It falls as
later presses bear the sign out. From our own simulated persons: of 720 points about 20 had such a
slip, and 2 ended with a gain of the wrong sign."""


def what_may_be_done(asked: tuple[Press, ...]) -> list[PressesDone]:
    """Return what may have been done of `asked`: all of it, or one slip at one of its entries."""
    found = [PressesDone("as asked", asked, 1 - sum(SLIPS.values()))]
    for n, press in enumerate(asked):
        for done, instead, share in _slips(press):
            presses = (*asked[:n], *instead, *asked[n + 1 :])
            found.append(PressesDone(done, presses, share / len(asked)))
    return found


def suspects_after(suspects: tuple[Suspect, ...], corrected: Suspect) -> tuple[Suspect, ...]:
    """Return `suspects` as they stand once `corrected`, one of them, is what is believed.

    It comes first, without a difference now; the others say how they differ from it.
    """
    found = [
        Suspect(
            each.gain_ratio / corrected.gain_ratio,
            each.counts - corrected.counts,
            each.coarse - corrected.coarse,
            each.done,
            each.probability,
        )
        for each in suspects
    ]
    return tuple(sorted(found, key=lambda each: each[:3] != AS_BELIEVED[:3]))


def _slips(press: Press) -> Iterator[tuple[HowDone, tuple[Press, ...], float]]:
    """Yield each slip, what is done then, and its probability."""
    sign, times = (1 if press.times > 0 else -1), abs(press.times)
    yield "none", (), SLIPS["none"]
    for left in range(1, times):
        # one press that did not register is far more likely than several; the shares have no source
        share = SLIPS["fewer"] * (0.8 if left == times - 1 else 0.2 / max(1, times - 2))
        yield "fewer", (Press(press.key, sign * left),), share
    yield "more", (Press(press.key, press.times + sign),), SLIPS["more"]
    other: Literal["coarse", "fine"] = "fine" if press.key == "coarse" else "coarse"
    yield "other key", (Press(other, press.times),), SLIPS["other key"]
    yield "other direction", (Press(press.key, -press.times),), SLIPS["other direction"]


def counts_of(presses: tuple[Press, ...], keys: Keys) -> tuple[int, int]:
    """Return the nominal counts of all presses, and the number of coarse ones, down negative."""
    coarse = sum(press.times for press in presses if press.key == "coarse")
    fine = sum(press.times for press in presses if press.key == "fine")
    return fine + coarse * keys.coarse_counts, coarse


def suspects_of_direction(
    asked: tuple[Press, ...],
    seen: tuple[Press, ...],
    keys: Keys,
    before: Suspect,
) -> tuple[Suspect, ...]:
    """Return two explanations of presses that seemed to go the other direction.

    First that they did; then that they were as asked and the gain has the other sign. `seen`: what
    they seemed to be; `before`: the suspicion of the other sign as it stood before these presses.
    """
    counts, coarse = counts_of(asked, keys)
    seen_counts, seen_coarse = counts_of(seen, keys)
    other = before._replace(
        counts=before.counts + counts - seen_counts, coarse=before.coarse + coarse - seen_coarse
    )
    return AS_BELIEVED._replace(probability=1 - other.probability), other


def suspects_of(asked: tuple[Press, ...], keys: Keys) -> tuple[Suspect, ...]:
    """Return what may have been done of presses from which the gain was learned, as asked first.

    Their effect is known by the readings; if other presses made it, the gain is another. Without
    any press there was no effect, so that is left out.
    """
    counts, coarse = counts_of(asked, keys)
    found = []
    for other in what_may_be_done(asked):
        their_counts, their_coarse = counts_of(other.presses, keys)
        if their_counts == 0 or counts == 0:
            continue
        found.append(
            Suspect(
                counts / their_counts,
                their_counts - counts,
                their_coarse - coarse,
                other.done,
                other.probability,
            )
        )
    total = sum(each.probability for each in found)
    return tuple(each._replace(probability=each.probability / total) for each in found)
