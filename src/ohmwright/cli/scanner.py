"""A keyboard, or a scanner that types: what is said next of a unit of a campaign."""

from __future__ import annotations

from contextlib import suppress
from itertools import pairwise

import anyio
from rich.text import Text

from ohmwright.api.assets import LABEL_HEAD
from ohmwright.model.errors import UsageError

from .console import err, out
from .keyboard import read_line

_HOW = "Scan or type its tag  (or skip REASON, defer YYYY-MM-DD REASON, hand over NAME, anew, stop)"
_PAUSE_S = 0.5
"""A scanner types one line after another faster than this."""


class Scanner:
    """A keyboard, or a scanner that types a label's lines without a pause between them."""

    def __init__(self) -> None:
        self._kept: list[str] = []

    def asked(self) -> str:
        """Return what was typed or scanned next; of labels in one burst, one at a time."""
        if self._kept:
            return self._kept.pop(0)
        out().file.flush()  # whoever reads a pipe is to see which unit is next
        err().print(Text(_HOW, style="dim"))
        err().print("> ", end="")
        first, *self._kept = anyio.run(self._scan)
        return first

    async def _scan(self) -> list[str]:
        """Return a line; where it begins a label, every label that comes without a pause."""
        lines = [(await read_line()).strip()]
        while lines[0] == LABEL_HEAD:
            before = len(lines)
            with anyio.move_on_after(_PAUSE_S), suppress(UsageError):  # the end of a pipe
                lines.append((await read_line()).strip())
            if len(lines) == before:
                break
        begins = [at for at, line in enumerate(lines) if at == 0 or line == LABEL_HEAD]
        return ["\n".join(lines[at:end]) for at, end in pairwise([*begins, len(lines)])]
