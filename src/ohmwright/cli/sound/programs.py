"""Which programs of this computer play a WAV file, and which speak."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Sequence

Find = Callable[[str], str | None]
"""Returns the path of a program, None where there is none; as `shutil.which`."""

WINSOUND = "winsound"
"""In place of a program: the module of Python that plays on Windows."""
_PLAYERS: tuple[tuple[str, ...], ...] = (
    ("pw-play", "{file}"),
    ("paplay", "{file}"),
    ("aplay", "--quiet", "{file}"),
    ("afplay", "{file}"),
)
_SAPI = (
    "Add-Type -AssemblyName System.Speech; (New-Object System.Speech.Synthesis.SpeechSynthesizer)"
    ".Speak([Console]::In.ReadToEnd())"
)
_VOICES: tuple[tuple[str, ...], ...] = (
    ("espeak-ng", "--stdin"),
    ("say", "-f", "-"),
    ("spd-say", "--wait", "--", "{words}"),
    ("powershell", "-NoProfile", "-Command", _SAPI),
)
"""What speaks; where `{words}` is none of the arguments, the words go to its standard input."""


def player(find: Find = shutil.which) -> tuple[str, ...]:
    """Return the command that plays `{file}`; empty where this computer has none."""
    if sys.platform == "win32":
        return (WINSOUND,)
    return _first_found(_PLAYERS, find)


def voice(find: Find = shutil.which) -> tuple[str, ...]:
    """Return the command that speaks; empty where this computer has none."""
    return _first_found(_VOICES, find)


def _first_found(commands: Sequence[tuple[str, ...]], find: Find) -> tuple[str, ...]:
    for name, *arguments in commands:
        path = find(name)
        if path is not None:
            return (path, *arguments)
    return ()
