"""What was learned of creep, kept on this computer: it saves time and proves nothing.

The models of a point are kept by the SHA-256 of the values that they were learned from. A file that
is missing, damaged or cannot be written is done without.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Any

import numpy as np
from pydantic import Field, TypeAdapter

from ohmwright.fleet.creep_filter import Histories
from ohmwright.fleet.creep_fit import fit_creep
from ohmwright.fleet.creep_model import CreepModel

from .cached_file import replace_cached

_VERSION = "1"
"""To be raised when `creep_fit` learns other models of the same values: it voids those kept."""
_MOST_KEPT = 5_000
"""Points in the file, so that it does not grow for ever; a fleet has some hundreds. No source."""
_MODELS = TypeAdapter(Annotated[tuple[CreepModel, ...], Field(min_length=1)])


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
        with suppress(KeyError, ValueError):
            return _MODELS.validate_python(self._kept[digest])
        models = fit_creep(seen)
        self._kept[digest], self._new = [asdict(each) for each in models], True
        return models

    def keep(self) -> None:
        """Write the file if anything was learned: the `_MOST_KEPT` points learned last."""
        if self._new:
            newest = dict(list(self._kept.items())[-_MOST_KEPT:])
            replace_cached(self._path, json.dumps(newest).encode())


def _digest(seen: Histories) -> str:
    """Return the SHA-256 of all that models are learned from."""
    parts = (seen.times, seen.values, seen.uncertainties, seen.adjusted, seen.known)
    digest = sha256(f"{_VERSION} {seen.times.shape}".encode())
    for part in parts:
        digest.update(np.ascontiguousarray(part).tobytes())
    return digest.hexdigest()
