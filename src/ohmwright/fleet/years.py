"""Times as years since the beginning of 2000, UTC, as the forecast counts them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

_ORIGIN = datetime(2000, 1, 1, tzinfo=UTC)
_YEAR = timedelta(days=365.25)


def years_of(at: datetime) -> float:
    """Return a time in years since the beginning of 2000, UTC."""
    return (at - _ORIGIN) / _YEAR


def date_of(years: float) -> datetime:
    """Return the time, UTC, that is so many years after the beginning of 2000."""
    return _ORIGIN + years * _YEAR
