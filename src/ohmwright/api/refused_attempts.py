"""Runs that were refused before their unit was known: they name it in their number alone."""

from __future__ import annotations

from dataclasses import replace

from ohmwright.records.flat_rows import Row
from ohmwright.records.run_lists import REFUSED, Filter, runs
from ohmwright.records.sql_store import SqlStore

from .jobs import is_number_for


def refused_attempts(store: SqlStore, selected: Filter) -> list[Row]:
    """Return such runs for the asset that is selected; none where none is."""
    asset = selected.asset
    if asset is None or selected.verdict not in (None, REFUSED):
        return []
    unknown = runs(store.database, replace(selected, asset="", model=None, serial=None))
    return [row for row in unknown if is_number_for(row["run_id"], asset)]
