"""The process that plays and speaks: reads a line of JSON for each sound until its input ends.

    {"notes": [[hz, s, rough], ...], "words": "...", "passing": false}

Arguments: two JSON lists, the commands that play and that speak; empty for none.
"""

from __future__ import annotations

import json
import signal
import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from queue import Empty, SimpleQueue
from tempfile import TemporaryDirectory
from threading import Thread
from typing import Any

from .programs import WINSOUND
from .tones import Note, duration_s, wav

_MOST_WAITING = 3
"""Sounds that wait; what is older is left out, since it is not true any more."""
_PLAYER_LATE_S, _SPEECH_S = 2.0, 20.0
"""How long a player may take beyond the sound itself, and a sentence."""


def main() -> None:
    """Play what comes until standard input ends."""
    for name in ("SIGINT", "SIGHUP"):  # the run that sends sounds says when to end
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    player, voice = (tuple(map(str, json.loads(one))) for one in sys.argv[1:3])
    waiting: SimpleQueue[dict[str, Any] | None] = SimpleQueue()
    Thread(target=_read, args=(waiting,), daemon=True).start()
    with TemporaryDirectory(prefix="ohmwright-sound-") as folder:
        while (sound := _next(waiting)) is not None:
            notes = [Note(*note) for note in sound["notes"]]
            if notes and player:
                _play(notes, player, Path(folder, "sound.wav"))
            if sound["words"] and voice:
                _speak(sound["words"], voice)


def _read(waiting: SimpleQueue[dict[str, Any] | None]) -> None:
    for line in sys.stdin:
        waiting.put(json.loads(line))
    waiting.put(None)


def _next(waiting: SimpleQueue[dict[str, Any] | None]) -> dict[str, Any] | None:
    """Return the next sound that is still worth hearing; None at the end."""
    due = [waiting.get()]
    with suppress(Empty):
        while True:
            due.append(waiting.get_nowait())
    sounds = [sound for sound in due if sound is not None]
    worth = [sound for sound in sounds if not sound["passing"]][-_MOST_WAITING:] or sounds[-1:]
    for sound in worth[1:]:
        waiting.put(sound)
    if None in due:
        waiting.put(None)
    return worth[0] if worth else None


def _play(notes: list[Note], player: tuple[str, ...], path: Path) -> None:
    path.write_bytes(wav(notes))
    if player == (WINSOUND,):
        import winsound

        winsound.PlaySound(str(path), winsound.SND_FILENAME)  # type: ignore[attr-defined,unused-ignore]
        return
    command = [part.replace("{file}", str(path)) for part in player]
    _run(command, "", duration_s(notes) + _PLAYER_LATE_S)


def _speak(words: str, voice: tuple[str, ...]) -> None:
    command = [part.replace("{words}", words) for part in voice]
    _run(command, "" if command != list(voice) else words, _SPEECH_S)


def _run(command: list[str], text: str, limit_s: float) -> None:
    """Run a program to its end; one that fails or hangs is left at that, it was only a sound."""
    with suppress(OSError, subprocess.SubprocessError):
        subprocess.run(
            command,
            input=text.encode(),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            timeout=limit_s,
            check=False,
        )


if __name__ == "__main__":
    main()
