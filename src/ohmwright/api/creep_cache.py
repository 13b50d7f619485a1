"""What was computed of creep, kept on this computer: it saves time and proves nothing.

The models of a point are kept by the SHA-256 of the values that they were learned from. The risk of
each unit is kept as a curve over the months after its newest run, for the worklist: a unit with a
newer run is not in it. A file that is missing, damaged or cannot be written is done without.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any
from zipfile import BadZipFile

import numpy as np
import numpy.typing as npt

from ohmwright.fleet.creep_filter import Histories
from ohmwright.fleet.creep_fit import fit_creep
from ohmwright.fleet.creep_model import CreepModel, FloatArray

_VERSION = "1"
"""Of how models are learned; another one makes every kept model void."""
_MOST_KEPT = 5_000
MONTHS = np.arange(61) / 12.0
"""After a unit's newest run, in years, for which its risk is kept."""


class LearnedModels:
    """The models of points that were learned before; `fit` learns what is not among them."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / "models.json"
        self._kept: dict[str, Any] = {}
        with suppress(OSError, ValueError):
            found = json.loads(self._path.read_text(encoding="utf-8"))
            self._kept = found if isinstance(found, dict) else {}
        self._new = False

    def fit(self, seen: Histories) -> Sequence[CreepModel]:
        """Return the models of `seen`, as `fit_creep` does."""
        digest = _digest(seen)
        with suppress(KeyError, TypeError, ValueError):
            return [_model(each) for each in self._kept[digest]]
        models = fit_creep(seen)
        self._kept[digest], self._new = [asdict(each) for each in models], True
        return models

    def keep(self) -> None:
        """Write what is new to the file, the newest `_MOST_KEPT` points."""
        if self._new:
            newest = dict(list(self._kept.items())[-_MOST_KEPT:])
            _write(self._path, json.dumps(newest).encode())


def _model(kept: dict[str, Any]) -> CreepModel:
    figures: dict[str, Any] = {
        name: tuple(figure) if isinstance(figure, list) else figure for name, figure in kept.items()
    }
    return CreepModel(**figures)


def _digest(seen: Histories) -> str:
    parts = (seen.times, seen.values, seen.uncertainties, seen.adjusted, seen.known)
    digest = sha256(f"{_VERSION} {seen.times.shape}".encode())
    for part in parts:
        digest.update(np.ascontiguousarray(part).tobytes())
    return digest.hexdigest()


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
        place = np.clip((years - self.last_at) * 12.0, 0.0, len(MONTHS) - 1.0)
        before = np.minimum(place.astype(np.intp), len(MONTHS) - 2)
        rows, share = np.arange(len(before)), place - before
        risks: FloatArray = self.risks.astype(np.float64)
        between: FloatArray = (1.0 - share) * risks[rows, before] + share * risks[rows, before + 1]
        return between

    def write(self, path: Path) -> None:
        """Write them, in place of older ones."""
        file = BytesIO()
        np.savez(file, assets=self.assets, runs=self.runs, last_at=self.last_at, risks=self.risks)
        _write(path, file.getvalue())

    @staticmethod
    def read(path: Path) -> RiskCurves | None:
        """Return what was written; None where there is nothing that can be read."""
        try:
            with np.load(path, allow_pickle=False) as kept:
                return RiskCurves(kept["assets"], kept["runs"], kept["last_at"], kept["risks"])
        except (OSError, ValueError, KeyError, EOFError, BadZipFile):
            return None


def _write(path: Path, content: bytes) -> None:
    """Replace a file as a whole; a folder that cannot be written to is done without."""
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        draft.write_bytes(content)
        draft.replace(path)
