"""The base of every data model: frozen, and strict about its keys."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import get_close_matches
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, model_validator
from pydantic_core import PydanticCustomError

UNKNOWN_KEYS: Literal["unknown_keys"] = "unknown_keys"
LONGEST_KEY = 60


class FrozenModel(BaseModel):
    """Frozen data that refuses an unknown key; the complaint names the nearest valid one."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _know_every_key(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        known = {field.alias or name for name, field in cls.model_fields.items()}
        unknown = [str(key) for key in data if key not in known]
        if unknown:
            about = {"unknown": unknown, "known": sorted(known)}
            raise PydanticCustomError(UNKNOWN_KEYS, "unknown keys", about)
        return data


def suggestion(key: str, known: Sequence[str], noun: str = "key") -> str:
    """The complaint about an unknown `key`, with the nearest of the `known` ones or all of them.

    `noun`: what it is, where it is not a key.
    """
    near = get_close_matches(key, known, n=1, cutoff=0.5) if len(key) <= LONGEST_KEY else []
    named = f"unknown {noun} '{shortened(key, LONGEST_KEY)}'"
    if near:
        return f"{named}; the nearest valid {noun} is '{near[0]}'"
    return f"{named}; valid {noun}s are {', '.join(known)}"


def shortened(text: str, length: int) -> str:
    """`text`, cut to `length` characters and marked with an ellipsis where it is longer."""
    return text if len(text) <= length else f"{text[:length]}…"
