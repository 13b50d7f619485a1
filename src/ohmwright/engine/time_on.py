"""How long RF was on at most in an activation, and whether its release is to be remarked on."""

from __future__ import annotations

from ohmwright.instruments.bench import Bench
from ohmwright.model.event import SlowRelease

from .activation import Activation
from .pending_events import Stamp
from .release import ConfirmedRelease, meter_shows_s

_SLOW_RELEASE_S, _SLOW_RELEASE_READINGS = 0.5, 2
"""A release by command that takes longer than both, the second in reading intervals, goes on
record."""
_SLOW_PERSON_S, _SLOW_TYPIST_S = 3.0, 8.0
"""Time after which a release goes on record: by a person at a foot switch, and by one who also
types that nothing flows."""


def latest_off_s(bench: Bench, on_s: float, limit_s: float, opened: Activation | None) -> float:
    """Return when RF went off, at the latest: an instrument ends it at its limit.

    A person at a foot switch does not; where they never said that they press it, and no current was
    read, it was not on.
    """
    analyzer, now_s = bench.analyzer, bench.clock.now_s()
    if not analyzer.keyed_by_foot:
        return min(now_s, on_s + limit_s)
    unasked = opened is None and analyzer.on_since_s is None
    never_on = unasked and bench.rf.off_since_s is not None
    return on_s if never_on else now_s


def most_on_s(bench: Bench, sent_s: float, off_s: float) -> float:
    """Return how long RF was on at most: from ON being sent until it was first read as off.

    It went off at `off_s` at the latest, also where it was not read as off.
    """
    read_off_s = bench.rf.off_since_s
    return max(0.0, (off_s if read_off_s is None else min(read_off_s, off_s)) - sent_s)


def slow_release(bench: Bench, release: ConfirmedRelease, stamp: Stamp) -> SlowRelease | None:
    """Return the event of a slow release, or of one for which OFF had to be sent again; else None.

    A meter that showed a current for longer than its data allow makes it slow, too. `stamp`: the
    times of the event.
    """
    by, took_s = bench.keyed_by, round(release.took_s, 3)
    if by is None and release.last_on_s > meter_shows_s(bench):
        took_s = round(max(release.took_s, release.last_on_s), 3)
    if took_s > _allowed_s(bench) or (by is None and release.sent > 1):
        sent = release.sent if by is None else None
        return SlowRelease(**stamp, took_s=took_s, keyed_by=by, sent=sent)
    return None


def _allowed_s(bench: Bench) -> float:
    """Return how long a release may take without being put on record."""
    analyzer = bench.analyzer
    if analyzer.keyed_by_foot:
        return _SLOW_TYPIST_S if analyzer.read_by_eye else _SLOW_PERSON_S
    return max(_SLOW_RELEASE_S, _SLOW_RELEASE_READINGS / analyzer.data.meter.readings_per_s)
