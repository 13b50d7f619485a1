"""How lines of text are made to fit a terminal: wrapped, put at two ends, cut."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from textwrap import wrap

from rich.text import Text


@dataclass(frozen=True)
class Extent:
    """What a terminal has room for."""

    columns: int
    rows: int
    blocks: bool = True
    """Whether its encoding has block characters."""

    def holds(self, size: tuple[int, int]) -> bool:
        """Whether there are so many columns and rows."""
        return self.columns >= size[0] and self.rows >= size[1]


def paragraph(words: str, room: Extent, style: str, *, lines: int) -> list[Text]:
    """Return `words` in exactly so many lines, or more where they need them."""
    wrapped = wrap(words, room.columns)
    wrapped += [""] * (lines - len(wrapped))
    return [Text(line, style=style if line else "") for line in wrapped]


def two_ended(left: Text, right: Text, width: int) -> Text:
    """Return a line with `left` at its beginning and `right` at its end, as far as they fit."""
    space = width - len(left) - len(right)
    if space >= 3:
        return Text.assemble(left, " " * space, right)
    end = right.copy()
    end.truncate(max(0, width - len(left) - 3), overflow="ellipsis")
    return Text.assemble(left, "   ", end)


def has_words(line: Text) -> bool:
    """Return whether a line is more than blanks."""
    return line.plain.strip() != ""


def fitted(lines: Sequence[Text], foot: Sequence[Text], room: Extent) -> list[Text]:
    """Return `lines` and `foot`, cut to the terminal's size; empty lines go first."""
    body, most = list(lines), max(0, room.rows - len(foot))
    empty = [i for i, line in enumerate(body) if not has_words(line)]
    for i in reversed(empty[: max(0, len(body) - most)]):
        del body[i]
    return [cut(line, room) for line in [*body[:most], *foot][: room.rows]]


def cut(line: Text, room: Extent) -> Text:
    """Return `line` cut to the terminal's width; where there are signs for it, that it is cut."""
    line.truncate(room.columns, overflow="ellipsis" if room.blocks else "crop")
    return line
