"""Decision rules, by their names in the standards: when a value passes and when it fails.

A value that neither passes nor fails is undecided. Whatever the rule, a value is also undecided
while the scatter of its readings leaves doubt (see `engine.judge`).
"""

from __future__ import annotations

from abc import abstractmethod
from typing import Annotated, Any, Literal

from pydantic import Field, GetCoreSchemaHandler
from pydantic_core import CoreSchema, core_schema

from .base import FrozenModel
from .hardware import Positive

Percent = Annotated[float, Field(gt=0, lt=100)]


class SimpleAcceptance(FrozenModel):
    """Inside the tolerance passes, outside fails (JCGM 106 8.2, ILAC-G8 4.2.1)."""

    rule: Literal["simple acceptance"] = "simple acceptance"


class GuardBand(FrozenModel):
    """Acceptance limits drawn in by w = multiple * U (ILAC-G8 4.2.2); undecided within w."""

    rule: Literal["guard band"]
    multiple: Positive = 1.0


class SpecificRisk(FrozenModel):
    """Passes where the risk that this very unit is out of tolerance is small (JCGM 106 8.3)."""

    rule: Literal["specific risk"]
    maximum_risk_percent: Percent = 2.5


class GlobalRisk(FrozenModel):
    """Few false accepts over all units, whose share in tolerance is known (JCGM 106 9)."""

    rule: Literal["global risk"]
    maximum_risk_percent: Percent = 2.0
    in_tolerance_percent: Percent
    """The share of units in tolerance as received."""


class FalseAccept(FrozenModel):
    """At most 2 % false accepts (Z540.3 5.3 b), with or without knowing the units' history."""

    rule: Literal["2 % false accept"]
    in_tolerance_percent: Percent | None = None
    """The share of units in tolerance as received; absent, the rule holds whatever it is."""


class FourToOne(FrozenModel):
    """Simple acceptance where half the tolerance is 4 U or more (Z540.3 5.3 b), else undecided."""

    rule: Literal["4:1"]


class OwnRule(FrozenModel):
    """Base of a decision rule of another package: its data, as a procedure gives them.

    A derived class has `rule: Literal["its name in procedures"]`.
    """

    rule: str

    @abstractmethod
    def arithmetic(self) -> Any:
        """Return what decides, a `DecisionRule` of `ohmwright.uncertainty.conformity`."""


_BUILT_IN: tuple[type[FrozenModel], ...] = (
    SimpleAcceptance,
    GuardBand,
    SpecificRisk,
    GlobalRisk,
    FalseAccept,
    FourToOne,
)
_ADDED: dict[str, type[FrozenModel]] = {}
"""Rules of other packages, by the name that procedures use."""


def rule_kinds() -> dict[str, type[FrozenModel]]:
    """Return the class of each decision rule by the name that procedures use."""
    known = {name: kind for kind in _BUILT_IN for name in _names(kind)}
    return known | _ADDED


def add_rule_kind(kind: type[OwnRule]) -> None:
    """Add a rule of another package. Raises ValueError where its name is missing or taken.

    And where it is no class of a rule, or does not say what decides.
    """
    refuse_half_a_class(kind, OwnRule)
    names = _names(kind)
    if not names:
        raise ValueError(f'{kind.__name__} needs a rule: Literal["its name in procedures"]')
    for name in names:
        refuse_taken_name("decision rule", name, kind, rule_kinds().get(name))
    _ADDED.update(dict.fromkeys(names, kind))


def refuse_taken_name(noun: str, name: str, kind: type, other: type | None) -> None:
    """Raise ValueError where `name` is that of another class than `kind` or an older form of it."""
    if other is not None and (other.__module__, other.__qualname__) != (
        kind.__module__,
        kind.__qualname__,
    ):
        raise ValueError(f"there is a {noun} '{name}' already: {other.__module__}")


def refuse_half_a_class(kind: object, base: type) -> None:
    """Raise ValueError where `kind` is no class derived from `base`, or leaves methods unwritten.

    Else such a class would be found out by the first procedure that names it.
    """
    if not (isinstance(kind, type) and issubclass(kind, base)):
        name = getattr(kind, "__name__", kind)
        raise ValueError(f"{name} is no class derived from {base.__name__}")
    if missing := ", ".join(sorted(getattr(kind, "__abstractmethods__", ()))):
        raise ValueError(f"{kind.__name__} lacks what each {base.__name__} needs: {missing}")


def _names(kind: type[FrozenModel]) -> tuple[str, ...]:
    return tuple(getattr(kind.model_fields["rule"].annotation, "__args__", ()))


class AnyRule:
    """Marks a pydantic field that holds a decision rule of any kind, chosen by the key `rule`."""

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Return the schema of a union of all rules, distinguished by the key `rule`."""
        kinds = {name: handler.generate_schema(kind) for name, kind in rule_kinds().items()}
        return core_schema.tagged_union_schema(kinds, discriminator="rule")


Decision = Annotated[
    SimpleAcceptance | GuardBand | SpecificRisk | GlobalRisk | FalseAccept | FourToOne | OwnRule,
    AnyRule(),
]
NEEDS_TWO_LIMITS = (GlobalRisk, FalseAccept, FourToOne)
"""Rules that speak of the width of the tolerance: a one-sided limit has none."""
