"""Flat results as a Parquet file; needs the optional package pyarrow."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from itertools import islice
from typing import Any, BinaryIO

from ohmwright.model.errors import UsageError

from .flat_rows import Row

_TEXT = (
    "run_id",
    "serial",
    "procedure",
    "asset",
    "model",
    "stage",
    "step",
    "point",
    "kind",
    "mode",
    "quantity",
    "verdict",
)
_REAL = ("setting_w", "load_ohm", "value", "uncertainty", "target", "lower", "upper")
_FLAGS = ("simulated", "voided", "not_traceable", "analyzer_past_due")
_ROWS_A_GROUP = 100_000


def imported_pyarrow() -> Any:
    """Return pyarrow, with `pyarrow.parquet`. Raises UsageError where it is missing."""
    try:
        import pyarrow
        import pyarrow.parquet
    except ModuleNotFoundError:
        raise UsageError(
            "Parquet needs the package pyarrow, which is not installed.",
            do="Install it with: pip install 'ohmwright[parquet]'",
        ) from None
    return pyarrow


def write_results(rows: Iterable[Row], file: BinaryIO) -> int:
    """Write flat results as Parquet; return how many. Raises UsageError when pyarrow is missing."""
    pa = imported_pyarrow()
    columns = [pa.field(name, pa.string()) for name in _TEXT]
    columns += [pa.field(name, pa.float64()) for name in _REAL]
    columns += [pa.field("at", pa.timestamp("us", "UTC"))]
    columns += [pa.field(name, pa.bool_()) for name in _FLAGS]
    schema = pa.schema(columns)
    count, rest = 0, iter(rows)
    with pa.parquet.ParquetWriter(file, schema) as writer:
        while group := [_typed(row) for row in islice(rest, _ROWS_A_GROUP)]:
            writer.write_table(pa.Table.from_pylist(group, schema))
            count += len(group)
    return count


def _typed(row: Row) -> Row:
    """The row with its time as a datetime."""
    return row | {"at": datetime.fromisoformat(row["at"])}
