"""RF's changes as lines on standard error, for commands that show no live view."""

from __future__ import annotations

from ohmwright.api.rf_words import rf_picture
from ohmwright.model.bench_status import BenchStatus

from .console import err
from .screen.pieces import RF_WORDS

_URGENT = {"calm": "", "care": RF_WORDS, "alarm": "bold red"}


class RfLines:
    """An `OnStatus` that prints one line whenever the state of RF has changed."""

    def __init__(self) -> None:
        self._words = ""

    def __call__(self, moment: BenchStatus) -> None:
        """Print RF as it was read, with the time that its limit leaves it, if it has changed."""
        picture = rf_picture(moment, moment.bench_s)
        if picture.words == self._words:
            return
        self._words = picture.words
        left = ""
        if moment.rf == "on" and moment.left_s is not None:
            left = f"; its limit ends it in {moment.left_s:.0f} s at the latest"
        err().print(f"{picture.line}{left}", style=_URGENT[picture.urgency], soft_wrap=True)
