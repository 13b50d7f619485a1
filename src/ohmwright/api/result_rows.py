"""Results as files without proof have them: CSV, Parquet, digital certificates; and on record.

What is taken of them is data. Words of the program, which differ between its versions, are not.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from io import BytesIO, StringIO
from typing import Any

from ohmwright.engine.run_so_far import recorded_unit
from ohmwright.model.event import PointDone
from ohmwright.records.flat_rows import result_row, run_row
from ohmwright.records.parquet import imported_pyarrow
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.issue import issue_of

from .dcc_rows import dcc_rows

ResultRow = Mapping[str, str]
"""What a file says of one result, by name; under `where` its stage, step and point."""
_WORDS = {"requirement", "held_against_it", "verdict_by", "reason"}
"""Columns of CSV that are not compared: words of the program."""
ADDED_LATER = {"begun", "ended", "analyzer", "instrument", "rested_s", "procedure_rest_s"}
"""Columns of CSV that files of earlier programs do not have."""
_PARQUET = (
    *("asset", "model", "serial", "simulated", "kind", "quantity", "mode", "setting_w", "load_ohm"),
    *("value", "uncertainty", "target", "lower", "upper", "verdict"),
)
"""Columns of Parquet that are compared."""


@dataclass(frozen=True)
class DataForm:
    """A form of file with results in it."""

    rows: Callable[[bytes], Mapping[str, Sequence[ResultRow]]]
    """Its results by run. Raises ValueError for what is no such file."""
    on_record: Callable[[SqlStore, str], Iterator[Sequence[ResultRow]]]
    """The same of one run on record, then as it was before each addendum, newest first."""
    compared: str
    """What is compared beside values, uncertainties and verdicts."""
    left_out: str
    """What is not compared."""


def _flat_row(row: Mapping[str, Any], names: Iterable[str]) -> ResultRow:
    """Where a result stands and its cells of these names, those that the file has."""
    where = ", ".join(str(row[name]) for name in ("stage", "step", "point"))
    cells = {name: row[name] for name in names if name in row}
    return {"where": where} | {k: "" if v is None else str(v) for k, v in cells.items()}


def _csv_row(row: Mapping[str, Any]) -> ResultRow:
    return _flat_row(row, (name for name in row if name is not None and name not in _WORDS))


def _parquet_row(row: Mapping[str, Any]) -> ResultRow:
    return _flat_row({**row, "simulated": bool(row["simulated"])}, _PARQUET)


def _by_run(
    rows: Iterable[Mapping[str, Any]], run: str, compared: Callable[[Mapping[str, Any]], ResultRow]
) -> Mapping[str, Sequence[ResultRow]]:
    """What is `compared` of rows, by the run that their column `run` names. Raises ValueError."""
    found = dict[str, list[ResultRow]]()
    try:
        for row in rows:
            found.setdefault(str(row[run]), []).append(compared(row))
    except (KeyError, csv.Error) as problem:
        raise ValueError(str(problem)) from None
    return found


def _csv_rows(content: bytes) -> Mapping[str, Sequence[ResultRow]]:
    """The rows by run; who reads a column that is there twice may see the other one."""
    text = StringIO(content.decode("utf-8-sig"), newline="")
    rows = csv.DictReader(text, restkey="beyond the last column")
    counts = Counter(rows.fieldnames or ())
    twice = {"columns there twice": ", ".join(name for name in counts if counts[name] > 1)}
    return _by_run(rows, "run", lambda row: {**_csv_row(row), **twice})


def _parquet_rows(content: bytes) -> Mapping[str, Sequence[ResultRow]]:
    pyarrow = imported_pyarrow()
    try:
        table = pyarrow.parquet.read_table(BytesIO(content))
    except pyarrow.ArrowException as problem:
        raise ValueError(str(problem)) from None
    return _by_run(table.to_pylist(), "run_id", _parquet_row)


def _parquet_on_record(store: SqlStore, run: str) -> Iterator[Sequence[ResultRow]]:
    events = store.events(run)
    of_run = run_row(events) | {"number": 0}
    done = (event for event in events if isinstance(event, PointDone))
    yield [
        _parquet_row({**of_run, **result_row(of_run, 0, event), **_conditions(event)})
        for event in done
    ]


def _conditions(event: PointDone) -> Mapping[str, Any]:
    """Mode, setting and load resistance, which the summaries of a store do not have."""
    result = event.result
    return {"mode": result.mode, "setting_w": result.setting_w, "load_ohm": result.load_ohm}


def _certificates(store: SqlStore, run: str) -> Iterator[Certificate]:
    """The certificate of a run as it is, then as it was before each addendum, newest first."""
    events, kept = store.events(run), store.stored_run(run)
    sealed = None if kept.seal is None else kept.seal.statement
    for count in range(len(kept.addenda), -1, -1):
        issue = issue_of(run, kept.addenda[:count], sealed=sealed, unit=recorded_unit(events))
        yield certificate_of(events, kept.head.hex(), issue=issue)


def _csv_on_record(store: SqlStore, run: str) -> Iterator[Sequence[ResultRow]]:
    return (_csv_rows(certificate_csv(one))[run] for one in _certificates(store, run))


def _dcc_on_record(store: SqlStore, run: str) -> Iterator[Sequence[ResultRow]]:
    from ohmwright.reports.dcc import certificate_dcc

    for one in _certificates(store, run):
        yield from dcc_rows(certificate_dcc(one)).values()


FORMS: Mapping[str, DataForm] = {
    ".csv": DataForm(
        _csv_rows,
        _csv_on_record,
        compared="unit, number, names, dates, analyzer, conditions",
        left_out="requirements and reasons in words, and what a file of an earlier program lacks",
    ),
    ".parquet": DataForm(
        _parquet_rows,
        _parquet_on_record,
        compared="unit, conditions",
        left_out="dates, names, analyzer",
    ),
    ".xml": DataForm(
        dcc_rows,
        _dcc_on_record,
        compared="unit, number, dates, names, analyzer, room",
        left_out="country; of a draft laboratory, customer, place, receipt and statements; of a "
        "file by another version its limits and words",
    ),
}
"""By the ending of a file's name."""
