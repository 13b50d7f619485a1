"""What the readings themselves say of the trim, without the estimator's model.

Where an output behaves as no model here, an estimate may be sure of a gain that the readings
plainly contradict. So an estimate alone neither says that a trim does nothing, nor that a step is
small.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, pairwise

import numpy as np
from numpy.typing import NDArray

from ohmwright.estimation.activation_record import Question

from .activation_log import ActivationLog

Floats = NDArray[np.float64]

_OF_A_RISE = 2.0
"""A later place differs upwards if it does by more than this many spreads: what is left of a rise
is less than this many times what it did in the last third of a stay."""
_CREEP_S = 5.0
"""Longest time constant of an output that creeps after a quick part of its rise: of what it did in
the last third of a stay, more is left the shorter that third was."""
_USUAL_DROOP = 0.015
"""What a unit without data may lose while it warms up, relative: places seen one after the other
may differ by this without any effect of the trim."""
_SETTLED, _OF_CHANGE = 0.05, 0.3
"""Most by which latter readings that had settled may differ, relative, and over what two places
differ by: a steep rise tells nothing of how far it goes."""
_MOST_OF_RISE = 0.7
"""Part of the rise after which what a move did is mostly seen, too, if it acts as the rise does."""
_WIDE = 0.5
"""Part of the widest distance between places from which two of them show a slope."""
_FEWEST_IN_LINE, _IN_LINE_SDS = 5, 5.0
"""Least number of places that show a line, and its slope over the standard uncertainty of that."""
_STILL_TOLERANCES = 1.0
"""A place was seen still if its latter readings changed by no more than this."""


@dataclass(frozen=True)
class Stay:
    """Readings at one place, `counts` from the trim's start: mean and range of the last third.

    Outputs are relative to the target; `spread` includes the meter's digit; `is_long`: whether it
    lasted as long as the rise took, so that it shows most of what the move did; `third_s`: time
    from the first to the last reading of the last third; `ended_s`: age at the last reading.
    """

    counts: int
    output: float
    spread: float
    is_long: bool
    third_s: float
    ended_s: float


class PlainLook:
    """The stays of one point; `largest_droop`: as the unit's data state it, relative."""

    def __init__(self, question: Question, largest_droop: float | None) -> None:
        self._question = question
        self._droop = _USUAL_DROOP if largest_droop is None else largest_droop
        self._earlier: list[Stay] = []
        """Stays of ended activations, of readings whose window lay between two moves."""
        self._earlier_at_once: list[Stay] = []
        """Stays of ended activations, of all readings between two moves: of the first ones the
        window may have begun before the move."""
        self._swings_until_s = 0.0
        """Age before which an output may have been a swing of the rise."""
        self._log: ActivationLog | None = None
        self._counts = 0
        self._looked_at: tuple[float, list[tuple[float, int]]] | None = None
        """Age of the latest reading, and the moves, when `_seen` was found."""
        self._seen: list[Stay] = []

    def begin_activation(self, log: ActivationLog, counts: int) -> None:
        """Look at `log` from now on; the trim stands at `counts` when RF comes on."""
        self._log, self._counts, self._looked_at = log, counts, None

    def end_activation(self, *, timed_out: bool) -> None:
        """Keep the stays of the activation; not of one that ended by itself, whose fall is none."""
        if not timed_out:
            self._earlier.extend(self._present)
            self._earlier_at_once.extend(self._at_once)
        self._log = None

    def note_swings(self, until_s: float) -> None:
        """The rise swings until an age: what was, or will be, read sooner shows no place."""
        self._swings_until_s = until_s

    @property
    def stays(self) -> list[Stay]:
        """All stays, the latest last."""
        return self._no_swings([*self._earlier, *self._present])

    def _no_swings(self, stays: list[Stay]) -> list[Stay]:
        return [stay for stay in stays if stay.ended_s >= self._swings_until_s]

    def two_that_differ(self) -> tuple[Stay, Stay] | None:
        """The two places farthest apart that differ in output, as the trim must have made it.

        A mean over two outputs lies between them: where it differs, too, a move did something,
        however long the meter's window is.
        """
        stays = self._no_swings([*self._earlier_at_once, *self._at_once])
        return (
            _farthest_apart(self._differing)
            or _farthest_apart(self._that_differ(stays))
            or _two_in_line(self.stays)
        )

    def two_about_target(self) -> tuple[Stay, Stay] | None:
        """The two that differ, with the target surely between their outputs."""
        sure = [pair for pair in self._differing if all(abs(s.output - 1) > s.spread for s in pair)]
        return _farthest_apart([(a, b) for a, b in sure if (a.output < 1) != (b.output < 1)])

    def contradicts(self, gain: float) -> bool:
        """Whether two places surely differ the other way than a gain of this sign would have it."""
        sure = [(a, b) for a, b in self._showing if self._differ(a, b, _CREEP_S / a.third_s)]
        pair = _farthest_apart(sure)
        return pair is not None and slope(*pair) * gain < 0

    def slope(self) -> float:
        """Steepest slope, per count, between places well apart that differ; 0 while none do."""
        pairs = self._showing
        widest = max((_distance(pair) for pair in pairs), default=0)
        wide = [slope(*pair) for pair in pairs if _distance(pair) >= _WIDE * widest]
        return max(wide, key=abs, default=0.0)

    def widest_seen(self) -> int:
        """The largest distance, counts, of two places at which the output was seen for long."""
        places = [stay.counts for stay in self.stays if stay.is_long]
        return max(places) - min(places) if places else 0

    def latest_still(self) -> Stay | None:
        """The latest stay whose readings had come to rest."""
        still = _STILL_TOLERANCES * self._question.tolerance / self._question.target
        return next(
            (stay for stay in reversed(self.stays) if stay.is_long and stay.spread <= still), None
        )

    @property
    def _differing(self) -> list[tuple[Stay, Stay]]:
        return self._that_differ(self.stays)

    def _that_differ(self, stays: list[Stay]) -> list[tuple[Stay, Stay]]:
        pairs = combinations(stays, 2)
        return [pair for pair in pairs if _had_settled(*pair) and self._differ(*pair)]

    @property
    def _showing(self) -> list[tuple[Stay, Stay]]:
        """Those that differ, of long stays: what they show of the gain is not what came before."""
        return [pair for pair in self._differing if all(stay.is_long for stay in pair)]

    def _differ(self, earlier: Stay, later: Stay, of_a_rise: float = _OF_A_RISE) -> bool:
        """Whether outputs differ beyond droop and scatter, upwards beyond what is left of a rise.

        `of_a_rise`: that, in spreads.
        """
        change = later.output - earlier.output
        scatter = float(np.hypot(earlier.spread, later.spread))
        uncertainty = self._droop + scatter * (of_a_rise if change > 0 else 1.0)
        return earlier.counts != later.counts and abs(change) > uncertainty

    @property
    def _present(self) -> list[Stay]:
        """The stays of the activation under way: a decision asks for them several times."""
        if self._log is None:
            return []
        now = self._log.latest_s, self._log.moves
        if now != self._looked_at:
            window_s = self._question.window_s
            self._looked_at, self._seen = now, [*self._stays(self._log, window_s)]
        return self._seen

    @property
    def _at_once(self) -> list[Stay]:
        """The stays under way, with readings that the meter's window may have begun before."""
        return [] if self._log is None else [*self._stays(self._log, 0.0)]

    def _stays(self, log: ActivationLog, window_s: float) -> Iterator[Stay]:
        """Yield the stays that were long enough for two readings, each a mean over `window_s`.

        Not those that ended before the rise: what came after is its doing, not the trim's.
        """
        (age_s, value), moves = log.readings, log.moves
        counts, least_s = self._counts, _response_s(age_s, value)
        for (begun_s, moved), (end_s, _) in pairwise([*moves, (np.inf, 0)]):
            counts += moved
            whole = (age_s - window_s >= begun_s) & (age_s <= end_s)
            seen = value[whole]
            if seen.size < 2 or age_s[whole][-1] < least_s:
                continue
            is_long = bool(age_s[whole][-1] - begun_s >= least_s)
            latter = slice(-max(2, seen.size // 3), None)
            spread = float(np.ptp(seen[latter])) + self._question.resolution
            output, target = float(np.mean(seen[latter])), self._question.target
            third_s = float(np.ptp(age_s[whole][latter]))
            ended_s = float(age_s[whole][-1])
            yield Stay(counts, output / target, spread / target, is_long, third_s, ended_s)


def _response_s(age_s: Floats, value: Floats) -> float:
    """Time from switching on until the output had come most of its way up, as the readings show.

    Its way: to the highest of all, for the first move may have come amid the rise.
    """
    risen = age_s[value >= _MOST_OF_RISE * np.max(value, initial=0.0)]
    return float(risen[0]) if risen.size > 0 else 0.0


def _had_settled(one: Stay, other: Stay) -> bool:
    """Whether the readings at both places had settled, for what these differ by."""
    allowed = _SETTLED
    if one.is_long and other.is_long:
        allowed = max(allowed, _OF_CHANGE * abs(other.output - one.output))
    return max(one.spread, other.spread) <= allowed


def _two_in_line(stays: list[Stay]) -> tuple[Stay, Stay] | None:
    """The two places farthest apart of those whose outputs follow the trim in a line; else None.

    What differs by the age at which they were seen, as by droop, is allowed for.
    """
    if len(stays) < _FEWEST_IN_LINE:
        return None
    counts = np.array([stay.counts for stay in stays], dtype=np.float64)
    outputs = np.array([stay.output for stay in stays])
    columns = np.column_stack([counts, np.ones_like(counts), [stay.ended_s for stay in stays]])
    if np.linalg.matrix_rank(columns) < columns.shape[1]:
        return None
    found, *_ = np.linalg.lstsq(columns, outputs)
    left = outputs - columns @ found
    variance = left @ left / (len(stays) - columns.shape[1])
    sd = float(np.sqrt(variance * np.linalg.inv(columns.T @ columns)[0, 0]))
    if abs(found[0]) <= _IN_LINE_SDS * sd:
        return None
    return _farthest_apart([*combinations(stays, 2)])


def slope(one: Stay, other: Stay) -> float:
    """Change of the output, relative to the target, per count from one place to another one."""
    return (other.output - one.output) / (other.counts - one.counts)


def _distance(pair: tuple[Stay, Stay]) -> int:
    return abs(pair[1].counts - pair[0].counts)


def _farthest_apart(pairs: list[tuple[Stay, Stay]]) -> tuple[Stay, Stay] | None:
    """The pair whose places are farthest apart in counts; None of none."""
    return max(pairs, key=_distance, default=None)
