"""The base of every noun: frozen, strict about its keys, helpful about a wrong one."""

from __future__ import annotations

from difflib import get_close_matches
from typing import Any

from pydantic import BaseModel, ConfigDict, model_validator
from pydantic_core import PydanticCustomError


class Noun(BaseModel):
    """Frozen data that refuses a key it does not know and names the nearest it does."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)

    @model_validator(mode="before")
    @classmethod
    def _know_every_key(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        known = {field.alias or name for name, field in cls.model_fields.items()}
        unknown = {str(key): _suggestion(str(key), known) for key in data if key not in known}
        if unknown:
            raise PydanticCustomError("unknown_keys", "unknown keys", {"unknown": unknown})
        return data


def _suggestion(key: str, known: set[str]) -> str:
    near = get_close_matches(key, sorted(known), n=1, cutoff=0.5)
    if near:
        return f"unknown key '{key}'; the nearest valid key is '{near[0]}'"
    return f"unknown key '{key}'; valid keys are {', '.join(sorted(known))}"
