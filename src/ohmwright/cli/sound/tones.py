"""The sounds of a run, as notes and as WAV files.

While RF is on, a pair of tones tells where the reading stands: first the same tone each time, which
is the target, then one that is higher the more the reading lies above it and lower the more it lies
below. On target both are the same; at a limit they are a fourth apart.
"""

from __future__ import annotations

import io
import wave
from array import array
from collections.abc import Sequence
from math import cos, pi, sin
from sys import byteorder
from typing import NamedTuple

RATE_HZ = 22050
TARGET_HZ = 440.0
LIMIT_SEMITONES = 5.0
"""Between the two tones where the reading is at a limit."""
_MOST_SEMITONES = 17.0
"""The farthest that is told apart: beyond it, the tone stays as it is."""
_LOUDNESS = 0.4
_RAMP_S = 0.01
"""Each tone begins and ends so slowly, lest it clicks."""


class Note(NamedTuple):
    """One tone, or a pause where `hz` is 0; `rough`: with overtones, as no other sound has."""

    hz: float
    s: float
    rough: bool = False


Notes = tuple[Note, ...]
_PAUSE = Note(0.0, 0.06)
RF_ON: Notes = (Note(196.0, 0.16, rough=True), _PAUSE, Note(196.0, 0.3, rough=True))
"""RF has come on."""
RF_OFF: Notes = (Note(330.0, 0.14), Note(220.0, 0.3))
"""RF was read back as off."""
DONE: Notes = (Note(587.0, 0.14), Note(880.0, 0.4))
"""Settled in tolerance."""
NOTICE: Notes = (Note(660.0, 0.1), _PAUSE, Note(660.0, 0.1))
"""Something is asked, or other than was expected was seen."""
CUE: Notes = (Note(523.0, 0.09),)
"""There is something new to do."""
ALARM: Notes = (Note(932.0, 0.25, rough=True), Note(622.0, 0.25, rough=True)) * 3
"""RF is not known to be off where it should be."""


def reading_notes(position: float) -> Notes:
    """Return the pair of tones for a reading at `position` in its limits (`BandPicture`)."""
    semitones = max(-_MOST_SEMITONES, min(_MOST_SEMITONES, LIMIT_SEMITONES * position))
    return Note(TARGET_HZ, 0.12), Note(TARGET_HZ * 2 ** (semitones / 12), 0.2)


def duration_s(notes: Sequence[Note]) -> float:
    """Return how long `notes` sound, in seconds."""
    return sum(note.s for note in notes)


def wav(notes: Sequence[Note]) -> bytes:
    """Return `notes` as a WAV file: one channel of 16 bits at `RATE_HZ`."""
    samples = array("h", (sample for note in notes for sample in _samples(note)))
    if byteorder == "big":
        samples.byteswap()
    file = io.BytesIO()
    with wave.open(file, "wb") as writer:
        writer.setnchannels(1)
        writer.setsampwidth(2)
        writer.setframerate(RATE_HZ)
        writer.writeframes(samples.tobytes())
    return file.getvalue()


def _samples(note: Note) -> list[int]:
    count, ramp = round(note.s * RATE_HZ), round(_RAMP_S * RATE_HZ)
    step = 2 * pi * note.hz / RATE_HZ
    overtones = (1.0, 0.5, 0.4) if note.rough else (1.0,)
    peak = 32767 * _LOUDNESS / sum(overtones)
    return [
        round(
            peak
            * _swell(min(i, count - 1 - i) / ramp)
            * sum(part * sin(step * (n + 1) * i) for n, part in enumerate(overtones))
        )
        for i in range(count)
    ]


def _swell(part: float) -> float:
    """Return the loudness, 0 to 1, at `part` of a ramp."""
    return 1.0 if part >= 1 else 0.5 - 0.5 * cos(pi * part)
