"""The risk of each unit as it was foretold last, for the worklist; kept on this computer.

It is kept as a curve over the months after the unit's newest run; a unit with a newer run is not
foretold. A file that is missing, damaged or cannot be written is done without. Nothing here learns
anything: a worklist loads no library for that.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from pathlib import Path
from zipfile import BadZipFile

import numpy as np
import numpy.typing as npt
from sqlalchemy import select

from ohmwright.fleet.creep_model import FloatArray
from ohmwright.fleet.worklist import Risk
from ohmwright.fleet.years import years_of
from ohmwright.records.queries import fetch_rows
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.tables import NEWEST_RUNS, STORE

from .cached_file import replace_cached
from .paths import forecast_folder

MONTHS = np.arange(73) / 12.0
"""After a unit's newest run, in years, for which its risk is kept."""
_YEAR_AHEAD = np.arange(13) / 12.0


@dataclass(frozen=True, eq=False)
class RiskCurves:
    """The risk of units at `MONTHS` after their newest value."""

    assets: npt.NDArray[np.str_]
    """(units,)."""
    runs: npt.NDArray[np.int64]
    """Number of the newest run of each that was known."""
    last_at: FloatArray
    """In years since 2000."""
    risks: npt.NDArray[np.float32]
    """(units, months)."""

    def at(self, years: float) -> FloatArray:
        """Return the risk of each unit at a time in years since 2000; that of the last month on."""
        place = np.clip((years - self.last_at) * 12.0, 0.0, self.risks.shape[1] - 1.0)
        before = np.minimum(place.astype(np.intp), self.risks.shape[1] - 2)
        rows, share = np.arange(len(before)), place - before
        risks: FloatArray = self.risks.astype(np.float64)
        between: FloatArray = (1.0 - share) * risks[rows, before] + share * risks[rows, before + 1]
        return between

    def write(self, path: Path) -> None:
        """Write them, in place of older ones."""
        file = BytesIO()
        np.savez(file, assets=self.assets, runs=self.runs, last_at=self.last_at, risks=self.risks)
        replace_cached(path, file.getvalue())

    @staticmethod
    def read(path: Path) -> RiskCurves | None:
        """Return what was written; None where there is nothing that can be read."""
        try:
            with np.load(path, allow_pickle=False) as kept:
                return RiskCurves(kept["assets"], kept["runs"], kept["last_at"], kept["risks"])
        except (OSError, ValueError, KeyError, EOFError, BadZipFile):
            return None


def foretold_risks(store: SqlStore, at: datetime, *, simulated: bool) -> dict[str, Risk]:
    """Return, by its id, the risk of each unit at `at` and within the year from then on.

    It is that of the unit's riskiest point, as it was foretold last; a unit that was not known
    then, or that has had a run since, is left out. Reads one row for each unit.
    """
    curves = RiskCurves.read(risk_file(store, simulated=simulated))
    if curves is None:
        return {}
    newest = newest_runs(store, simulated=simulated)
    ahead = np.array([curves.at(years_of(at) + after) for after in _YEAR_AHEAD])
    columns = curves.assets, curves.runs, ahead[0], ahead.max(axis=0)
    return {
        asset: Risk(now, within_year)
        for asset, run, now, within_year in zip(*(c.tolist() for c in columns), strict=True)
        if newest.get(asset) == run
    }


def newest_runs(store: SqlStore, *, simulated: bool) -> dict[str, int]:
    """Return the number of the newest run of each unit, by its id."""
    c = NEWEST_RUNS.c
    query = select(c.asset, c.run).where(c.simulated == int(simulated))
    return {row.asset: int(row.run) for row in fetch_rows(store.database, query)}


def risk_file(store: SqlStore, *, simulated: bool) -> Path:
    """Return the file of the curves of a store."""
    with store.database.read() as connection:
        (store_id,) = connection.execute(select(STORE.c.id)).scalars()
    kind = "simulated" if simulated else "real"
    return forecast_folder() / f"risk-{store_id}-{kind}.npz"
