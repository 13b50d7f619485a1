"""The base of every event: when it happened, by two clocks."""

from __future__ import annotations

from datetime import datetime

from .base import FrozenModel


class Stamped(FrozenModel):
    """An event with its time."""

    at: datetime
    """Date and time of day by the bench's clock, in UTC."""
    bench_s: float
    """Seconds of the bench's clock since its arbitrary start."""
