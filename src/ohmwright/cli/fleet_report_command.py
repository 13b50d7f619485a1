"""The command `record report`: the fleet report of a span of time."""

from __future__ import annotations

import socket
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING

from rich.text import Text

from ohmwright.api.campaign_work import CampaignDesk
from ohmwright.api.output_file import refuse_unwritable
from ohmwright.model.account import account_name
from ohmwright.model.errors import UsageError
from ohmwright.model.typed_command import typed_command
from ohmwright.records.campaigns import Worker
from ohmwright.records.last_runs import span_of_runs
from ohmwright.records.sql_store import SqlStore
from ohmwright.wire.clock import RealClock

from .console import err, out
from .open_records import open_records_for_reading

if TYPE_CHECKING:
    from ohmwright.api.fleet_report import ReportSpan

_YEAR = timedelta(days=365)
_TICK = timedelta(seconds=1)


@dataclass(frozen=True)
class ReportRequest:
    """A report as asked for; None for what was not given."""

    file: Path
    since: datetime | None
    until: datetime | None
    campaign: str | None
    simulated: bool
    overwrite: bool


def write_fleet_report(records: str | None, asked: ReportRequest) -> None:
    """Write the report of a span of time, by default the year before now, or of a campaign."""
    from ohmwright.api.fleet_report import FORMS, fleet_report

    if asked.file.suffix.lower() not in FORMS:
        raise UsageError(
            f"{asked.file}: a fleet report cannot be written with this ending.",
            "Nothing was computed.",
            f"Give a name that ends in {', '.join(FORMS)}.",
        )
    refuse_unwritable(asked.file, overwrite=asked.overwrite)
    said = err().status("Learning how the units creep, about a second for each point")
    with open_records_for_reading(records) as store, said:
        fleet_report(store, _span(store, asked)).write(asked.file)
    out().print(Text(f"Written: {asked.file}"), soft_wrap=True)


def _span(store: SqlStore, asked: ReportRequest) -> ReportSpan:
    from ohmwright.api.fleet_report import ReportSpan

    now = RealClock().wall()
    if asked.campaign is not None:
        if asked.since is not None or asked.until is not None:
            raise UsageError("--campaign has its own span.", do="Leave out --since and --until.")
        desk = CampaignDesk(store, asked.campaign, Worker(account_name(), socket.gethostname()))
        runs = [one.run_id for one in desk.states().values() if one.run_id]
        span = span_of_runs(store.database, runs)
        if span is None:
            raise UsageError(
                f"No unit of campaign {asked.campaign} has a run yet.",
                "Nothing was written.",
                f"See '{typed_command(f'campaign status {quote(asked.campaign)}')}'.",
            )
        begun = min(span[0], datetime.fromisoformat(desk.campaign.at))
        until = max(span[1] + _TICK, now)  # simulated ones have the date of their own clock
        return ReportSpan(begun, until, desk.campaign.simulated, asked.campaign, runs)
    until = now if asked.until is None else asked.until
    since = until - _YEAR if asked.since is None else asked.since
    if since >= until:
        raise UsageError(f"--since {since:%Y-%m-%d} is not before --until {until:%Y-%m-%d}.")
    return ReportSpan(since, until, asked.simulated)
