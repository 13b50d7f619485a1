"""The base of every data model: frozen, and strict about its keys."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict


class FrozenModel(BaseModel):
    """Frozen data that refuses an unknown key; `source` adds the nearest valid one."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)
