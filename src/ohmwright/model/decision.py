"""Decision rules, by their names in the standards: when a value passes and when it fails.

A value that neither passes nor fails is undecided. Whatever the rule, a value is also undecided
while the scatter of its readings leaves doubt (see `engine.judge`).
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

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


Decision = Annotated[
    SimpleAcceptance | GuardBand | SpecificRisk | GlobalRisk | FalseAccept | FourToOne,
    Field(discriminator="rule"),
]
NEEDS_TWO_LIMITS = (GlobalRisk, FalseAccept, FourToOne)
"""Rules that speak of the width of the tolerance: a one-sided limit has none."""
