"""The command `record report`: the fleet report of a span of time."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

from rich.text import Text

from ohmwright.api.output_file import refuse_unwritable
from ohmwright.model.errors import UsageError
from ohmwright.wire.clock import RealClock

from .console import err, out
from .open_records import open_records_for_reading

_YEAR = timedelta(days=365)


def write_fleet_report(
    records: str | None,
    file: Path,
    since: datetime | None,
    until: datetime | None,
    *,
    simulated: bool,
    overwrite: bool,
) -> None:
    """Write the report of the year before `until` (default: now), or from `since`."""
    from ohmwright.api.fleet_report import FORMS, ReportSpan, fleet_report

    if file.suffix.lower() not in FORMS:
        raise UsageError(
            f"{file}: a fleet report is no file with this ending.",
            "Nothing was computed.",
            f"Give a name that ends in {', '.join(FORMS)}.",
        )
    refuse_unwritable(file, overwrite=overwrite)
    until = RealClock().wall() if until is None else until
    since = until - _YEAR if since is None else since
    if since >= until:
        raise UsageError(f"--since {since:%Y-%m-%d} is not before --until {until:%Y-%m-%d}.")
    said = err().status("Learning how the units creep, about a second for each point")
    with open_records_for_reading(records) as store, said:
        fleet_report(store, ReportSpan(since, until, simulated)).write(file)
    out().print(Text(f"Written: {file}"), soft_wrap=True)
