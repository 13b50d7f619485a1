"""A picture of a sweep in a notebook, drawn anew at each point."""

from __future__ import annotations

import warnings
from collections.abc import Iterable
from os import PathLike
from pathlib import Path
from typing import Any

from ohmwright.engine.procedure_file import read_procedure
from ohmwright.model.event import Event, PointDone, RunStarted

from .curve import CurveOrFile, curves_given
from .curve_band import band_limits
from .curve_plot import svg_text
from .recorded_curve import curve_of


class LivePlot:
    """Given as `on_event`, draws the curve so far after each point, in place, in a notebook.

    `band`, `against`: see `Curve.plot`. Outside of a notebook it warns, and nothing is drawn.
    Raises OhmwrightError for a wrong file.
    """

    def __init__(
        self,
        *,
        band: str | PathLike[str] | float | None = None,
        against: CurveOrFile | Iterable[CurveOrFile] = (),
    ) -> None:
        if isinstance(band, str | PathLike):
            read_procedure(Path(band))
        self._band, self._against = band, curves_given(against)
        self._events: list[Event] = []
        self._handle: Any = None
        if not _in_notebook():
            warnings.warn(
                "LivePlot draws in a notebook, and this is none: nothing is drawn. The whole curve "
                "is drawn by its 'plot' and 'save'.",
                stacklevel=2,
            )

    def __call__(self, event: Event) -> None:
        """Take an event, and draw where it is a point of a sweep."""
        if isinstance(event, RunStarted):
            self._events, self._handle = [], None
            if isinstance(self._band, str | PathLike):
                band_limits(Path(self._band), event.asset.model)
        if isinstance(event, RunStarted | PointDone):
            self._events.append(event)
        if isinstance(event, PointDone) and event.result.measured is not None:
            self._draw()

    def _draw(self) -> None:
        if not _in_notebook():
            return
        from IPython.display import display

        picture = _Picture(curve_of(self._events).plot(band=self._band, against=self._against))
        if self._handle is None:
            self._handle = display(picture, display_id=True)
        else:
            self._handle.update(picture)


def _in_notebook() -> bool:
    """Return whether IPython runs this program."""
    try:
        from IPython import get_ipython
    except ImportError:
        return False
    return get_ipython() is not None


class _Picture:
    """A figure as a notebook shows it."""

    def __init__(self, figure: Any) -> None:
        self._figure = figure

    def _repr_svg_(self) -> str:
        return svg_text(self._figure)
