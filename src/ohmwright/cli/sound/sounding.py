"""Sound and speech of a run: the helper process is started, fed without waiting, and ended."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from typing import Protocol

from ohmwright.cli.console import err, print_notice
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.cue import Cue

from .listener import Heard, Listener, attention
from .programs import Find, player, voice
from .tones import DONE, NOTICE

_NEVER_BLOCKS = hasattr(os, "set_blocking")
"""Whether a pipe can be written without waiting: on Windows not before Python 3.12."""
_LAST_SOUNDS_S = 2.0
_MOST_CHARACTERS = 500
"""Of a sentence that is spoken: a line must fit into what a pipe takes whole (4096 bytes)."""
_NO_PLAYER = (
    "No program that plays sounds was found (aplay, paplay, pw-play, afplay): the terminal's bell "
    "sounds instead."
)
_NO_VOICE = "No program that speaks was found (espeak-ng, say, spd-say): nothing is spoken."
_BELLS = (DONE, NOTICE)
"""What the terminal's bell stands for where nothing plays sounds."""


@dataclass(frozen=True)
class Hearing:
    """What the person wants to hear."""

    sound: bool = False
    speech: bool = False


class Sounds(Protocol):
    """Takes what happens and has it heard; every method returns at once."""

    def on_status(self, moment: BenchStatus) -> None:
        """Take the latest status of the bench."""

    def on_cue(self, cue: Cue) -> None:
        """Take what is to be done next at the keys."""

    def attend(self, words: str) -> None:
        """Draw attention to what is asked or to be done."""


class Silence:
    """Nothing is heard."""

    def on_status(self, moment: BenchStatus) -> None:
        """Do nothing."""

    def on_cue(self, cue: Cue) -> None:
        """Do nothing."""

    def attend(self, words: str) -> None:
        """Do nothing."""


class Helper:
    """Sends what is heard to the helper process, as far as its pipe takes it at once."""

    def __init__(self, pipe: int, *, bells: bool) -> None:
        os.set_blocking(pipe, False)
        self._pipe, self._bells = pipe, bells
        self._listener = Listener()

    def on_status(self, moment: BenchStatus) -> None:
        """Send what is heard of the latest status."""
        for heard in self._listener.on_status(moment):
            self._send(heard)

    def on_cue(self, cue: Cue) -> None:
        """Send what is heard of a cue."""
        for heard in self._listener.on_cue(cue):
            self._send(heard)

    def attend(self, words: str) -> None:
        """Send a notice with `words`."""
        self._send(attention(words))

    def _send(self, heard: Heard) -> None:
        if self._bells and heard.notes in _BELLS and err().is_terminal:
            err().file.write("\a")  # without a flush, which may wait for a stopped terminal
        line = asdict(heard) | {"words": heard.words[:_MOST_CHARACTERS]}
        with suppress(OSError):
            os.write(self._pipe, json.dumps(line).encode() + b"\n")


@contextmanager
def sounding(wanted: Hearing, find: Find = shutil.which) -> Iterator[Sounds]:
    """Have a run heard as `wanted` until the block ends; say in one line what cannot be.

    At the end the last sounds may end, within 2 s.
    """
    plays = player(find) if wanted.sound else ()
    speaks = voice(find) if wanted.speech else ()
    if wanted.sound and not plays:
        print_notice(_NO_PLAYER)
    if wanted.speech and not speaks:
        print_notice(_NO_VOICE)
    if (wanted.sound or wanted.speech) and not _NEVER_BLOCKS:
        print_notice("On Windows sound needs Python 3.12 or newer: nothing is heard.")
    if not (wanted.sound or speaks) or not _NEVER_BLOCKS:
        yield Silence()
        return
    process = _started(plays, speaks)
    assert process.stdin is not None
    try:
        yield Helper(process.stdin.fileno(), bells=wanted.sound and not plays)
    finally:
        with suppress(OSError):
            process.stdin.close()
        try:
            process.wait(_LAST_SOUNDS_S)
        except subprocess.TimeoutExpired:
            _end(process)


def _started(plays: tuple[str, ...], speaks: tuple[str, ...]) -> subprocess.Popen[bytes]:
    """Return the helper, in a session of its own, which signals to this program do not reach."""
    return subprocess.Popen(
        [
            *(sys.executable, "-m", "ohmwright.cli.sound.helper"),
            *(json.dumps(plays), json.dumps(speaks)),
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=sys.platform != "win32",
    )


def _end(process: subprocess.Popen[bytes]) -> None:
    """Kill the helper, and on POSIX the player or the voice that it waits for."""
    if sys.platform == "win32":
        process.kill()
    else:
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()
