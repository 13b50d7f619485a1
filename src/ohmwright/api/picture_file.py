"""Figures as files, whole or not at all."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

from .output_file import write_whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_DPI = 150
"""Of a picture in pixels: sharp on a printed page, some hundred kB; no source."""


def picture(figure: Figure, form: str, *, dpi: int = _DPI) -> bytes:
    """Return `figure` as a file of the form svg, png or pdf.

    Made in memory, for matplotlib fails in ways of its own where it writes to a disk without room.
    """
    content = BytesIO()
    figure.savefig(content, format=form, dpi=dpi)
    return content.getvalue()


def write_picture(figure: Figure, path: Path, *, dpi: int = _DPI) -> None:
    """Write `figure` as what the ending of `path` says. Raises UsageError."""
    write_whole(path, picture(figure, path.suffix.lower().removeprefix("."), dpi=dpi))
