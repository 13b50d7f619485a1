"""What a person at the keys is told to do next, as every face shows it: screen, sound, page."""

from __future__ import annotations

from typing import Literal, NamedTuple

CueKind = Literal["press", "hold", "notice", "done", "rest"]
"""`press`: press a key; `hold`: wait, hands off; `notice`: something other than was asked was
seen; `done`: settled in tolerance; `rest`: RF is off and the unit rests."""


class Cue(NamedTuple):
    """One instruction; it stands until the next one replaces it and takes no typed answer."""

    kind: CueKind
    words: str
    """The whole instruction as a sentence, as it is read out."""
    key: Literal["coarse", "fine", ""] = ""
    direction: Literal["up", "down", ""] = ""
    presses: int = 0
    """How many presses are still to be done; 0 where none are asked for."""
    seen: str = ""
    """What the meter showed of the presses before, as a sentence; empty where there were none."""
