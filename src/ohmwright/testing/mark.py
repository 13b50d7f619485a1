"""What the mark of a test chooses."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

from pydantic import Field

from ohmwright.model.base import FrozenModel


class Mark(FrozenModel):
    """The keywords of the mark `ohmwright`, each of which may be left out."""

    bench: Path | None = None
    """A bench file; None is the shipped one."""
    seed: Annotated[int, Field(ge=0)] | None = None
    """None is the bench file's own."""
    age_months: Annotated[float, Field(ge=0, le=1200)] | None = None
    profile: Path | None = None
    """A generator's data file, or the name of a shipped one."""
    faults: tuple[str, ...] = ()
    virtual_time: bool = True
