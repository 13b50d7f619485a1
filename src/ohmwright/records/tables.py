"""The tables of a store as queries use them, with conditions on them; the migrations make them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from sqlalchemy import (
    BigInteger,
    Column,
    Double,
    Float,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
    select,
)
from sqlalchemy.types import TypeEngine

METADATA = MetaData()


class _Bytes(LargeBinary):
    """A column of bytes; a value of another type in a damaged file reads as no bytes at all."""

    cache_ok = True

    def result_processor(self, *_: object) -> Callable[[object], bytes]:
        return lambda value: value if isinstance(value, bytes) else b""


_REAL: TypeEngine[float] = Double().with_variant(Float(), "sqlite")


def _table(name: str, *columns: Column[Any]) -> Table:
    """A table of this store."""
    return Table(name, METADATA, *columns)


def _text(name: str) -> Column[Any]:
    """A column of text."""
    return Column(name, Text)


STORE = _table("store", Column("id", Text, primary_key=True))
"""One row: the name of the store, drawn at random when it was made."""

RUNS = _table(
    "runs",
    Column("number", Integer, primary_key=True),
    Column("opening", _Bytes),
    *map(_text, ("run_id", "asset", "model", "serial", "procedure", "operator", "at")),
    Column("simulated", Integer),
    _text("work"),
)
"""The runs as their starts say; `work` is None where that does not say."""

EVENTS = _table(
    "events",
    Column("run", Integer, primary_key=True),
    Column("number", Integer, primary_key=True),
    Column("body", _Bytes),
    Column("hash", _Bytes),
)

LEDGER = _table(
    "ledger",
    Column("number", Integer, primary_key=True),
    Column("run", Integer),
    _text("what"),
    _text("verdict"),
    Column("document", _Bytes),
    Column("hash", _Bytes),
)
"""The chain through the whole store: each run opened, sealed or imported is an entry."""

RESULTS = _table(
    "results",
    Column("run", Integer, primary_key=True),
    Column("event", Integer, primary_key=True),
    *map(_text, ("asset", "model", "stage", "step", "point", "kind", "quantity")),
    *(Column(name, _REAL) for name in ("value", "uncertainty", "target", "lower", "upper")),
    _text("verdict"),
    _text("at"),
    Column("simulated", Integer),
)
"""Every result as a row, for queries over a fleet; each can be made again from its event."""

TALLIES = _table(
    "tallies",
    *(Column(name, Text, primary_key=True) for name in ("model", "step", "point", "stage")),
    Column("simulated", Integer, primary_key=True),
    Column("month", Text, primary_key=True),
    *(Column(name, Integer) for name in ("results", "passed", "measured")),
    *(Column(name, BigInteger) for name in ("errors_ppm", "squares_ppm2")),
)
"""For each point at each stage and month (UTC, as 2026-01) the sums over its results: how many,
how many passed, how many have an error, and of these errors the sum and the sum of squares. An
error is value less target, in parts per million of the target, whole, at most a million: whole
numbers have one sum in whatever order they are added."""

NEWEST_RUNS = _table(
    "newest_runs",
    Column("asset", Text, primary_key=True),
    Column("simulated", Integer, primary_key=True),
    Column("run", Integer),
    *map(_text, ("run_id", "model", "serial", "at", "verdict")),
)
"""For each unit the run that began last, sweeps left out; `verdict` is None until it has one."""

VOIDED_RUNS = _table("voided_runs", Column("run", Integer, primary_key=True))
"""A view of the ledger: the runs that are void by its last word on each; summaries lack them."""

LEASES = _table(
    "leases",
    Column("run", Integer, primary_key=True),
    _text("host"),
    Column("pid", Integer),
    _text("holder"),
    Column("until_s", _REAL),
)
"""Which program writes to a run, and until when it may."""

ASSET_CHANGES = _table(
    "asset_changes",
    Column("tag", Text, primary_key=True),
    Column("revision", Integer, primary_key=True),
    *map(_text, ("at", "by", "what", "why")),
    *map(_text, ("maker", "model", "serial", "site", "owner", "procedure")),
    Column("interval_months", Integer),
    *map(_text, ("state", "last_passed")),
)
"""Each change of a unit in the register, with the whole of it as it is from then on; the highest
revision counts."""

CAMPAIGNS = _table(
    "campaigns",
    Column("name", Text, primary_key=True),
    *map(_text, ("at", "by", "work")),
    Column("simulated", Integer),
    Column("after_run", Integer),
    _text("home"),
)
"""`work`: calibrate or verify; `after_run`: number of the newest run when it was begun, 0
where it came in a file; `home`: id of the store where it was begun."""

CAMPAIGN_LOG = _table(
    "campaign_log",
    Column("campaign", Text, primary_key=True),
    Column("number", Integer, primary_key=True),
    *map(_text, ("tag", "at", "by", "bench", "what", "words", "run_id")),
)
"""What was done about each unit of a campaign, in order; a unit's last entry is its state."""
AT_ITS_EVENT = (EVENTS.c.run == RESULTS.c.run) & (EVENTS.c.number == RESULTS.c.event)
"""Condition that joins a result to its event."""
NOT_VOID = RESULTS.c.run.not_in(select(VOIDED_RUNS.c.run))
"""Condition on results: of a run that is not void."""
