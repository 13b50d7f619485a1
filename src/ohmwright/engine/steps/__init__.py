"""The step kinds of a procedure, one module each: its data, what it requires, how it is run.

A module placed here is found by itself: its `kind` can be written in a procedure, is checked
against the bench, is in the JSON Schema, and is run. `base` has the classes that a kind derives
from.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from importlib import import_module
from pkgutil import iter_modules
from typing import Any

from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema

from ohmwright.model.decision import refuse_half_a_class, refuse_taken_name

from .base import Step

__all__ = ["AnyStep", "Step", "add_step_kind", "step_kind", "step_kinds"]
_ADDED: dict[str, type[Step]] = {}
"""Kinds of other packages, by the name that procedures use."""


@cache
def step_kinds() -> Mapping[str, type[Step]]:
    """Return the class of each step kind by the name that procedures use, sorted by name."""
    found: dict[str, type[Step]] = {}
    for module in iter_modules(__path__):
        for value in vars(import_module(f"{__name__}.{module.name}")).values():
            if isinstance(value, type) and issubclass(value, Step):
                kind = value.model_fields["kind"].annotation  # of a base: str, without a name
                found |= dict.fromkeys(getattr(kind, "__args__", ()), value)
    return dict(sorted((found | _ADDED).items()))


def step_kind(name: str) -> type[Step]:
    """Return the class of a kind; `Step`, which claims nothing, for one of a package not here."""
    return step_kinds().get(name, Step)


def add_step_kind(kind: type[Step]) -> None:
    """Add a kind of another package. Raises ValueError where its name is missing or taken.

    And where it is no class of a step, or lacks a method that each needs.
    """
    refuse_half_a_class(kind, Step)
    names = getattr(kind.model_fields["kind"].annotation, "__args__", ())
    if not names or not all(isinstance(name, str) for name in names):
        raise ValueError(f'{kind.__name__} needs a kind: Literal["its name in procedures"]')
    for name in names:
        refuse_taken_name("step kind", name, kind, step_kinds().get(name))
    _ADDED.update(dict.fromkeys(names, kind))
    step_kinds.cache_clear()


class AnyStep:
    """Marks a pydantic field that holds a step of any kind, chosen by the key `kind`."""

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Return the schema of a union of all step kinds, distinguished by the key `kind`."""
        kinds = {name: handler.generate_schema(kind) for name, kind in step_kinds().items()}
        return core_schema.tagged_union_schema(kinds, discriminator="kind")
