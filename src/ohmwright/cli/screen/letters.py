"""Large letters and digits, of block characters or of plain ones."""

from __future__ import annotations

from collections.abc import Sequence

HEIGHT = 5
"""Rows of a letter, in dots."""
_GLYPHS = {
    "0": ".##. #..# #..# #..# .##.",
    "1": ".#. ##. .#. .#. ###",
    "2": "###. ...# .##. #... ####",
    "3": "###. ...# .##. ...# ###.",
    "4": "#..# #..# #### ...# ...#",
    "5": "#### #... ###. ...# ###.",
    "6": ".##. #... ###. #..# .##.",
    "7": "#### ...# ..#. .#.. .#..",
    "8": ".##. #..# .##. #..# .##.",
    "9": ".##. #..# .### ...# .##.",
    "A": ".##. #..# #### #..# #..#",
    "B": "###. #..# ###. #..# ###.",
    "C": ".### #... #... #... .###",
    "D": "###. #..# #..# #..# ###.",
    "E": "#### #... ###. #... ####",
    "F": "#### #... ###. #... #...",
    "G": ".### #... #.## #..# .###",
    "H": "#..# #..# #### #..# #..#",
    "I": "### .#. .#. .#. ###",
    "J": "..## ...# ...# #..# .##.",
    "K": "#..# #.#. ##.. #.#. #..#",
    "L": "#... #... #... #... ####",
    "M": "#...# ##.## #.#.# #...# #...#",
    "N": "#..# ##.# #.## #..# #..#",
    "O": "#### #..# #..# #..# ####",
    "P": "###. #..# ###. #... #...",
    "Q": ".##. #..# #..# #.#. .#.#",
    "R": "###. #..# ###. #.#. #..#",
    "S": ".### #... .##. ...# ###.",
    "T": "##### ..#.. ..#.. ..#.. ..#..",
    "U": "#..# #..# #..# #..# .##.",
    "V": "#...# #...# .#.#. .#.#. ..#..",
    "W": "#...# #...# #.#.# ##.## #...#",
    "X": "#...# .#.#. ..#.. .#.#. #...#",
    "Y": "#...# .#.#. ..#.. ..#.. ..#..",
    "Z": "#### ...# .##. #... ####",
    "m": "..... ##.#. #.#.# #.#.# #.#.#",
    "s": ".... .### .##. ...# ###.",
    ".": ". . . . #",
    "-": "... ... ### ... ...",
    "?": "###. ...# .##. .... .#..",
    " ": ".. .. .. .. ..",
}
_HALVES = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


def dots(text: str) -> list[str]:
    """Return the rows of `text`, `#` for a dot that is set; what has no glyph is left out."""
    glyphs = [_GLYPHS[letter].split() for letter in text if letter in _GLYPHS]
    return [".".join(glyph[row] for glyph in glyphs) for row in range(HEIGHT)]


def large(text: str, *, blocks: bool) -> list[str]:
    """Return `text` in five lines, each dot two columns wide; `blocks`: of block characters."""
    dot = "██" if blocks else "##"
    return ["".join(dot if each == "#" else "  " for each in row).rstrip() for row in dots(text)]


def medium(text: str) -> list[str]:
    """Return `text` in three lines of block characters, each of which is two dots high."""
    rows = [*dots(text), ""]
    return [_two_rows(rows[i], rows[i + 1]).rstrip() for i in range(0, HEIGHT, 2)]


def columns(lines: Sequence[str]) -> int:
    """Return the width of `lines` in columns."""
    return max(map(len, lines), default=0)


def _two_rows(upper: str, lower: str) -> str:
    lower = lower.ljust(len(upper), ".")
    return "".join(_HALVES[a == "#", b == "#"] for a, b in zip(upper, lower, strict=True))
