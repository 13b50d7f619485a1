"""The runs on record as a page lists and shows them; each question opens the store anew."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from ohmwright.api.certificate_files import CertificateOptions
from ohmwright.api.certificate_renderer import CertificateRenderer, certificate_renderer
from ohmwright.api.jobs import unit_in_number
from ohmwright.api.open_records import (
    open_existing_records,
    open_records_for_reading,
    records_exist,
    trusted_keys,
)
from ohmwright.api.refused_attempts import refused_attempts
from ohmwright.api.run_notices import unsaved_text
from ohmwright.api.run_of_record import Run
from ohmwright.api.run_picture import result_picture
from ohmwright.engine.run_so_far import on_time_s, run_started_event
from ohmwright.model.errors import OhmwrightError, UsageError
from ohmwright.model.event import Event, Fault
from ohmwright.records import run_lists
from ohmwright.records.flat_rows import Row
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.curves import curve_svg, plotted_curves
from ohmwright.reports.measuring_conditions import trims_told_text
from ohmwright.reports.part_texts import (
    fault_text,
    interruption_lines,
    rf_not_ended_text,
    room_text,
)
from ohmwright.reports.run_parts import (
    REASON_NOT_RECORDED,
    RunPart,
    on_time_text,
    parts_of_run,
    run_totals_s,
)
from ohmwright.reports.run_remarks import remarks_of_run
from ohmwright.reports.verdict_grounds import qualification, said_verdict

MOST_RUNS = 200
PaperForm = Literal["pdf", "html"]
_SHOWN = (
    *("run_id", "asset", "model", "serial", "procedure", "operator"),
    *("verdict", "voided", "simulated", "not_traceable", "analyzer_past_due"),
)


@dataclass(frozen=True)
class History:
    """The records at a place; None is the user's own."""

    place: str | None

    def runs(self, words: str, verdict: str) -> dict[str, Any]:
        """Return the newest runs that have every one of `words`, newest first, and how many.

        `verdict`: only those, `unfinished` among them; empty for any. "any" says whether a
        run is on record at all.
        """
        if not records_exist(self.place):
            return {"runs": [], "found": 0, "any": False}
        wanted = run_lists.Filter(search=words, verdict=verdict or None)
        with open_existing_records(self.place) as store:
            shown = _newest(store, wanted)
            found = run_lists.count_runs(store.database, wanted)
            some = found > 0 or run_lists.count_runs(store.database, run_lists.ANY_RUN) > 0
        return {"runs": shown, "found": found, "any": some}

    def of_unit(self, tag: str) -> list[dict[str, Any]]:
        """Return the newest runs on the unit with exactly this tag, newest first."""
        if not records_exist(self.place):
            return []
        wanted = run_lists.Filter(asset=tag)
        with open_existing_records(self.place) as store:
            return _newest(store, wanted, refused_attempts(store, wanted))

    def lost(self) -> list[str]:
        """Return what this computer has seen of these records and is gone, as of an older copy."""
        if not records_exist(self.place):
            return []
        words: list[str] = []
        open_records_for_reading(self.place, words.append).close()
        return words

    def run(self, run_id: str) -> dict[str, Any]:
        """Return a run with its results and curves. Raises UsageError, RecordError."""
        with open_existing_records(self.place) as store:
            run = Run(self.place, run_id, store.events(run_id))
            started = run_started_event(run.events)
            if started is None:
                raise _never_begun(run_id, run.events)
            curves: list[dict[str, str]] = []
            if run.finished:
                with suppress(OhmwrightError):  # what a paper needs and a list does not
                    curves = _curves(self._renderer(run_id))
        parts = parts_of_run(run.events)
        return {
            "run_id": run.id,
            "verdict": said_verdict(run.verdict, run.results)
            if run.finished
            else run_lists.UNFINISHED,
            "verdict_qualified": qualification(run.results),
            "unsaved": unsaved_text(run.results),
            "finished": run.finished,
            "unit": f"{started.asset.maker} {started.asset.model}, serial {started.asset.serial}",
            "asset": started.asset.id,
            "model": started.asset.model,
            "procedure": f"{started.procedure}, revision {started.revision}",
            "bench": started.bench,
            "analyzer": started.analyzer,
            "operator": ", ".join(dict.fromkeys(part.operator for part in parts)),
            "work_order": started.work_order,
            "room": "; ".join(dict.fromkeys(room_text(p.environment, p.operator) for p in parts)),
            "remarks": list(remarks_of_run(run.events)),
            "at": started.at.isoformat(timespec="seconds"),
            "simulated": started.seed is not None,
            "seed": started.seed,
            "certificate": None
            if started.traceability is None
            else started.traceability.certificate,
            "results": [result_picture(one).model_dump() for one in run.results],
            "interruptions": list(interruption_lines(parts)),
            "ended_early": [] if run.finished else _ended_early(run.events, parts[-1]),
            "rf_on": on_time_text(_on_s(run), parts),
            "trims_told": trims_told_text(run.results),
            "curves": curves,
            "sweep": [
                {
                    "mode": one.mode,
                    "setting_w": one.setting_w,
                    "load_ohm": one.load_ohm,
                    "power_w": None if one.measured is None else one.measured.value,
                    "expanded_w": None if one.measured is None else one.measured.expanded,
                }
                for one in run.results
                if one.sweep is not None
            ],
        }

    def certificate(self, run_id: str, form: PaperForm) -> tuple[str, bytes]:
        """Return name and content of a finished run's certificate. Raises OhmwrightError."""
        renderer = self._renderer(run_id)
        name = f"{renderer.name()}.{form}"
        make = renderer.pdf if form == "pdf" else renderer.html
        return name, make(Path(name))

    def _renderer(self, run_id: str) -> CertificateRenderer:
        with open_existing_records(self.place) as store:
            return certificate_renderer(store, run_id, trusted_keys(None), CertificateOptions())


def _newest(
    store: SqlStore, wanted: run_lists.Filter, more: Sequence[Row] = ()
) -> list[dict[str, Any]]:
    """Return the newest runs that `wanted` lets through, and `more`, newest first, for a list."""
    found = [*run_lists.runs(store.database, wanted, MOST_RUNS), *more]
    rows = sorted(found, key=lambda row: int(row["number"]), reverse=True)
    return [
        {"at": str(row["at"])} | {key: row[key] for key in _SHOWN} | _refusal(row)
        for row in run_lists.described(store.database, rows)
    ]


def _refusal(row: Row) -> dict[str, str]:
    """Return what a list shows of a refused run in place of a verdict; nothing for any other.

    Its unit may be known by its number alone.
    """
    if row["refused"] is None:
        return {}
    named = unit_in_number(row["run_id"])
    return {"verdict": run_lists.REFUSED, "refused_because": row["refused"], "named": named}


def _never_begun(run_id: str, events: Sequence[Event]) -> UsageError:
    """Return that nothing but a refusal, or nothing at all, is on record of a run."""
    last = events[-1] if events else None
    if isinstance(last, Fault):
        return UsageError(f"Run {run_id} was refused.", last.message)
    return UsageError(f"Run {run_id} has no beginning on record.")


def _on_s(run: Run) -> float:
    """Return how long RF was on, as far as it is on record."""
    return run_totals_s(run.events)[0] if run.finished else on_time_s(run.events)


def _ended_early(events: Sequence[Event], part: RunPart) -> list[str]:
    """Return what cut the last part of a run short, and what its record lacks of RF."""
    last, ended = events[-1], part.cut_short_by
    if isinstance(last, Fault):
        ended = fault_text(last)
    elif ended == REASON_NOT_RECORDED:
        ended = "The record ends without an end of the run."
    return [*filter(None, (ended, part.left_open, rf_not_ended_text(part)))]


def _curves(renderer: CertificateRenderer) -> list[dict[str, str]]:
    """Return each power curve as a picture in a data URL, and its values in words."""
    return [
        {
            "title": curve.title,
            "words": curve.alt(),
            "picture": "data:image/svg+xml;base64," + b64encode(curve_svg(curve).encode()).decode(),
        }
        for curve in plotted_curves(renderer.certificate)
    ]
