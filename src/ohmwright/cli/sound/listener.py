"""Which sound belongs to what is seen of a run: pure, fed by the status of its bench."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ohmwright.api.reading_picture import band_picture
from ohmwright.model.bench_status import BenchStatus, RfState
from ohmwright.model.cue import Cue

from .tones import ALARM, CUE, DONE, NOTICE, RF_OFF, RF_ON, Notes, reading_notes

_READING_EVERY_S = 0.9
"""The pair of tones takes 0.32 s; this leaves silence between."""


@dataclass(frozen=True)
class Heard:
    """Something to be heard: notes, words, or both."""

    notes: Notes = ()
    words: str = ""
    passing: bool = False
    """Whether it is of the moment: where another sound goes on, it is left out."""


class Listener:
    """Turns what happens into what is heard, one status after another."""

    def __init__(self) -> None:
        self._rf: RfState | None = None
        self._cue: Cue | None = None
        self._read_s = -_READING_EVERY_S

    def on_status(self, moment: BenchStatus) -> Iterator[Heard]:
        """Yield what is heard of `moment`, given what was before."""
        rf, self._rf = self._rf, moment.rf
        if moment.rf != rf:
            yield from _rf_changed(rf, moment.rf)
        if moment.cue != self._cue:
            yield from self.on_cue(moment.cue)
        elif moment.rf == "on":
            yield from self._reading(moment)

    def on_cue(self, cue: Cue | None) -> Iterator[Heard]:
        """Yield what is heard of a cue, the first time that it comes."""
        before, self._cue = self._cue, cue
        if cue is not None and cue != before:
            yield Heard(_notes_of(cue), cue.words)

    def _reading(self, moment: BenchStatus) -> Iterator[Heard]:
        """Yield the pair of tones of a reading that has limits, in an even beat."""
        if moment.aim is None or moment.current_ma is None:
            return
        if moment.bench_s - self._read_s < _READING_EVERY_S:
            return
        self._read_s = moment.bench_s
        place = band_picture(moment.aim, moment.current_ma)
        if place.position is not None and not place.one_sided:
            yield Heard(reading_notes(place.position), passing=True)


def attention(words: str) -> Heard:
    """Return what is heard of a request, or of something to be done at once."""
    return Heard(NOTICE, words)


def _notes_of(cue: Cue) -> Notes:
    match cue.kind:
        case "done":
            return DONE
        case "notice":
            return NOTICE
        case _:
            return CUE


def _rf_changed(before: RfState | None, now: RfState) -> Iterator[Heard]:
    if now == "on":
        yield Heard(RF_ON, "RF on.")
    elif now == "unknown":
        yield Heard(ALARM, "RF state unknown. Switch the generator off at its mains switch.")
    elif now == "off" and before in ("on", "going off", "unknown"):
        yield Heard(RF_OFF, "RF off.")
    elif now == "not proved" and before in ("on", "going off"):
        yield Heard(NOTICE, "No current is read. That RF is off is not proved.")
