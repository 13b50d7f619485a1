"""What is heard: its pitch, what it belongs to, and that nobody waits for it; by no sound card."""

from __future__ import annotations

import io
import os
import sys
import time
import wave
from itertools import pairwise
from pathlib import Path
from threading import Thread

import numpy as np
import pytest

from ohmwright.cli.sound import tones
from ohmwright.cli.sound.listener import Heard, Listener
from ohmwright.cli.sound.sounding import Hearing, Helper, Silence, sounding
from ohmwright.cli.sound.tones import LIMIT_SEMITONES, TARGET_HZ, Note, reading_notes, wav
from ohmwright.model.bench_status import BenchStatus, TargetBand
from ohmwright.model.cue import Cue

AIM = TargetBand(886.0, 900.0, 914.0)
ON = BenchStatus("on", 100.0, age_s=3.0, left_s=12.0, current_ma=893.0, aim=AIM)
posix = pytest.mark.skipif(sys.platform == "win32", reason="a shell script stands for the player")


def samples(file: bytes) -> np.ndarray:
    with wave.open(io.BytesIO(file)) as reader:
        assert (reader.getnchannels(), reader.getsampwidth()) == (1, 2)
        assert reader.getframerate() == tones.RATE_HZ
        return np.frombuffer(reader.readframes(reader.getnframes()), "<i2").astype(float)


def pitch_hz(note: Note) -> float:
    """The strongest frequency by FFT (numpy), padded to 0.2 Hz and finer."""
    heard = samples(wav([note]))
    spectrum = np.abs(np.fft.rfft(heard * np.hanning(heard.size), 1 << 17))
    return float(np.argmax(spectrum)) * tones.RATE_HZ / (1 << 17)


def test_notes_have_their_pitch_and_length_and_are_not_clipped() -> None:
    for notes in (tones.RF_ON, tones.RF_OFF, tones.DONE, tones.NOTICE, tones.CUE, tones.ALARM):
        heard = samples(wav(notes))
        assert heard.size == pytest.approx(tones.RATE_HZ * tones.duration_s(notes), abs=len(notes))
        assert 3000 < np.max(np.abs(heard)) < 20000
        assert abs(heard[0]) + abs(heard[-1]) < 100
        assert [pitch_hz(n) for n in notes if n.hz] == pytest.approx(
            [n.hz for n in notes if n.hz], abs=2
        )


def test_pitch_tells_side_and_distance() -> None:
    pairs = {
        position: reading_notes(position) for position in (-9.0, -1.0, -0.2, 0.0, 0.5, 1.0, 2.0)
    }
    assert all(pitch_hz(pair[0]) == pytest.approx(TARGET_HZ, abs=1) for pair in pairs.values())
    heard_hz = [pitch_hz(pair[1]) for pair in pairs.values()]
    assert all(b > a + 10 for a, b in pairwise(heard_hz))
    assert pitch_hz(pairs[0.0][1]) == pytest.approx(TARGET_HZ, abs=1)
    limit = 2 ** (LIMIT_SEMITONES / 12)
    assert pitch_hz(pairs[1.0][1]) == pytest.approx(TARGET_HZ * limit, rel=0.005)
    assert pitch_hz(pairs[-1.0][1]) == pytest.approx(TARGET_HZ / limit, rel=0.005)


def test_rf_on_sounds_like_nothing_else() -> None:
    """Alone with overtones; no other sound has a tone near it."""
    others = (tones.RF_OFF, tones.DONE, tones.NOTICE, tones.CUE)
    assert not any(note.rough for notes in others for note in notes)
    assert all(note.rough for note in tones.RF_ON if note.hz)
    rough, pure = samples(wav(tones.RF_ON[:1])), samples(wav([Note(196.0, 0.16)]))
    third = round(3 * 196.0 * rough.size / tones.RATE_HZ)
    parts = [
        np.abs(np.fft.rfft(one))[third] / np.max(np.abs(np.fft.rfft(one))) for one in (rough, pure)
    ]
    assert parts[0] > 0.2 > 0.02 > parts[1]


def test_what_is_heard_belongs_to_what_happens() -> None:
    listener = Listener()

    def heard(moment: BenchStatus) -> list[Heard]:
        return list(listener.on_status(moment))

    assert heard(BenchStatus("off", 0.0)) == []
    assert heard(BenchStatus("coming on", 1.0)) == []
    on, reading = heard(ON)
    assert on.notes == tones.RF_ON
    assert (reading.notes, reading.passing) == (reading_notes(-0.5), True)
    assert heard(ON._replace(bench_s=100.2)) == []  # an even beat, not each reading
    assert len(heard(ON._replace(bench_s=101.0))) == 1
    cue = Cue("press", "Press coarse up twice.", "coarse", "up", 2)
    assert heard(ON._replace(bench_s=102.0, cue=cue)) == [Heard(tones.CUE, cue.words)]
    assert [one.words for one in heard(ON._replace(bench_s=103.0, cue=cue))] == [""]
    done = Cue("done", "Done.")
    assert heard(ON._replace(bench_s=104.0, cue=done)) == [Heard(tones.DONE, "Done.")]
    assert heard(BenchStatus("going off", 105.0, cue=done)) == []
    assert [one.notes for one in heard(BenchStatus("off", 105.2, cue=done))] == [tones.RF_OFF]
    assert [one.notes for one in heard(BenchStatus("unknown", 106.0))] == [tones.ALARM]
    assert len(heard(ON._replace(bench_s=107.0))) > 0
    (unproved,) = heard(BenchStatus("not proved", 108.0))
    assert (unproved.notes, "not proved" in unproved.words) == (tones.NOTICE, True)


def script(folder: Path, name: str, text: str) -> str:
    path = folder / name
    path.write_text(f"#!/bin/sh\n{text}\n")
    path.chmod(0o755)
    return str(path)


def until(path: Path, holds: str) -> str:
    end_s = time.monotonic() + 60
    while time.monotonic() < end_s:
        if path.exists() and holds in path.read_text():
            return path.read_text()
        time.sleep(0.02)
    raise AssertionError(path.read_text() if path.exists() else "nothing was played")


@posix
def test_it_is_played_and_spoken_by_the_programs_of_the_computer(tmp_path: Path) -> None:
    log = tmp_path / "log"
    programs = {
        "aplay": script(tmp_path, "aplay", f'echo "played $(wc -c < "$2")" >> {log}'),
        "espeak-ng": script(tmp_path, "espeak-ng", f'echo "said $(cat)" >> {log}'),
    }
    with sounding(Hearing(sound=True, speech=True), programs.get) as sounds:
        sounds.attend('Is "it" on; $HOME?')
        said = until(log, "said")
    assert f"played {len(wav(tones.NOTICE))}" in said
    assert 'said Is "it" on; $HOME?' in said


@posix
def test_nobody_waits_for_a_player_that_hangs(tmp_path: Path) -> None:
    begun = tmp_path / "begun"
    hanging = script(tmp_path, "aplay", f"echo begun >> {begun}; exec sleep 600")
    with sounding(Hearing(sound=True), {"aplay": hanging}.get) as sounds:
        sounds.attend("Look.")
        until(begun, "begun")
    # the block has ended, though the player has not


def test_nobody_waits_for_a_helper_that_does_not_read() -> None:
    read, write = os.pipe()
    helper = Helper(write, bells=False)

    def send() -> None:
        for _ in range(500):  # more than a pipe holds
            helper.attend("Look. " * 100)

    sending = Thread(target=send, daemon=True)
    sending.start()
    sending.join(60)
    assert not sending.is_alive()
    for end in (read, write):
        os.close(end)


def test_without_a_player_one_line_says_so(capsys: pytest.CaptureFixture[str]) -> None:
    with sounding(Hearing(speech=True), lambda _: None) as sounds:
        assert isinstance(sounds, Silence)
    assert capsys.readouterr().err.count("\n") == 1
    with sounding(Hearing(), lambda _: None) as sounds:
        assert isinstance(sounds, Silence)
    if sys.platform != "win32":
        with sounding(Hearing(sound=True), lambda _: None) as sounds:
            sounds.attend("Look.")
        assert "bell" in capsys.readouterr().err
