"""The records of a place, for programs that ask them."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from datetime import datetime

from ohmwright.records import queries, run_lists
from ohmwright.records.run_lists import Filter
from ohmwright.records.sql_store import SqlStore

from .given import refuse_no_run, refuse_no_time, refuse_wrong_verdict
from .open_records import open_records_for_reading, resolved_run_id
from .pandas_extra import Rows
from .paths import RecordsAt
from .run_of_record import Run


class Records:
    """The records at a place: a folder, a .sqlite file or a postgresql:// URL.

    Without a place, the user's own. Each question opens the store and closes it again. Chain and
    seal of a run are checked whenever it is read. Raises UsageError where nothing was recorded.
    A `UserWarning` tells of records that this computer has seen there and that are gone, as where
    an older copy is in place of the newer ones.

    >>> import ohmwright
    >>> with ohmwright.bench("bench.toml", seed=3) as bench:
    ...     run = bench.run("cut.toml", stages=["as_found"], records="trial")
    >>> records = ohmwright.Records("trial")
    >>> records["last"].verdict == run.verdict
    True
    >>> [row["verdict"] for row in records.results(model="Quillon 300")]
    ['pass', 'fail', 'pass', 'fail']
    """

    def __init__(self, place: RecordsAt | None = None) -> None:
        self.place = place

    def _opened(self) -> SqlStore:
        return open_records_for_reading(self.place, _warn)

    def __getitem__(self, run: str) -> Run:
        """Return a run by its number, or "last". Raises UsageError, RecordError."""
        refuse_no_run(run)
        with self._opened() as store:
            run_id = resolved_run_id(store, run)
            return Run(self.place, run_id, store.events(run_id))

    def __iter__(self) -> Iterator[str]:
        """Yield the number of each run, oldest first."""
        with self._opened() as store:
            run_ids = store.run_ids()
        return iter(run_ids)

    def runs(
        self,
        *,
        asset: str | None = None,
        model: str | None = None,
        verdict: str | None = None,
        since: datetime | None = None,
        until: datetime | None = None,
        serial: str | None = None,
        operator: str | None = None,
        search: str = "",
    ) -> Rows:
        """Return one row a run, oldest first; `verdict` may be "unfinished" or "refused", too.

        Keys of a row: "run_id", "asset", "model", "serial", "procedure", "operator", "at",
        "simulated", "verdict" and "voided"; "not_traceable" and "analyzer_past_due", which qualify
        that verdict; "refused", why a run was refused at its start. A whole `Run` is
        `self[row["run_id"]]`.
        `until` is before that time. Each word of `search` is part of the run's number, unit,
        serial number, model, procedure, operator or date.
        """
        refuse_wrong_verdict(verdict, run_lists.UNFINISHED, run_lists.REFUSED)
        refuse_no_time("since", since)
        refuse_no_time("until", until)
        wanted = Filter(asset, model, verdict, since, until, serial, operator, search)
        with self._opened() as store:
            rows = run_lists.runs(store.database, wanted)
            return Rows(run_lists.described(store.database, rows))

    def results(
        self,
        *,
        asset: str | None = None,
        model: str | None = None,
        verdict: str | None = None,
        since: datetime | None = None,
    ) -> Rows:
        """Return one row a result, in the order of the runs.

        Keys of a row: "run_id", "asset", "model", "serial", "procedure", "stage", "step", "point",
        "mode", "setting_w", "load_ohm", "quantity", "value", "uncertainty" (standard), "target",
        "lower", "upper", "verdict", "at", "simulated" and "voided"; "not_traceable" and
        "analyzer_past_due", which qualify that verdict.
        """
        refuse_wrong_verdict(verdict)
        refuse_no_time("since", since)
        with self._opened() as store:
            return Rows(queries.results(store.database, Filter(asset, model, verdict, since)))


def _warn(words: str) -> None:
    warnings.warn(words, stacklevel=5)  # at the line that asks the records
