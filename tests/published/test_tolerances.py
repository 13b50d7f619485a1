"""Tolerances as rules of other trades state them, read as a procedure's file gives them.

Two allowances of which the larger counts are those of the proficiency testing of clinical
laboratories in the United States; sides that differ, those of the public supply. Both are from
memory, and lend only their arithmetic: their units are read as those of a power.
"""

from collections.abc import Callable, Iterator
from functools import partial

from pydantic import TypeAdapter

from ohmwright.engine.judge import accepted_half_width, room_to_pass
from ohmwright.installation.check import Check, clause_checks
from ohmwright.model.decision import Decision, GuardBand, SimpleAcceptance, SpecificRisk
from ohmwright.model.result import AMPLE_DOF, BudgetEntry, Measured
from ohmwright.model.tolerance import Target, Tolerance, at_most, target_of

CFR, SUPPLY = "42 CFR 493.931 (1992)", "CENELEC HD 472 (230 V)"
GLUCOSE = {"percent": 10, "absolute_w": 6}  # mg/dL
CARBON_DIOXIDE = {"percent": 8, "absolute_w": 5}  # mm Hg
SODIUM = {"absolute_w": 4}  # mmol/L
# allowance, target, lower limit, upper limit
PROFICIENCY = (
    ("glucose", GLUCOSE, 50.0, 44.0, 56.0),
    ("glucose", GLUCOSE, 60.0, 54.0, 66.0),
    ("glucose", GLUCOSE, 200.0, 180.0, 220.0),
    ("pCO2", CARBON_DIOXIDE, 40.0, 35.0, 45.0),
    ("pCO2", CARBON_DIOXIDE, 100.0, 92.0, 108.0),
    ("sodium", SODIUM, 140.0, 136.0, 144.0),
)
MAINS = {"lower": {"percent": 6}, "upper": {"percent": 10}}
UNDER_MAINS = {"lower": {"percent": 10}, "upper": {"percent": 6}}
GUARDED, CERTAIN = GuardBand(rule="guard band"), SpecificRisk(rule="specific risk")


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    for name, allowance, value, lower, upper in PROFICIENCY:
        of = partial(within, value, allowance)
        yield from clause_checks(
            *(CFR, f"{name} of {value:g}", "from memory"),
            ("lower limit", lower, 1e-9, lambda of=of: of().lower),
            ("upper limit", upper, 1e-9, lambda of=of: of().upper),
            ("half width", upper - value, 1e-9, lambda of=of: of().half_width),
        )
    yield from clause_checks(
        *(SUPPLY, "+10 %, -6 %", "from memory"),
        ("lower limit, V", 216.2, 1e-9, lambda: supply(MAINS).lower),
        ("upper limit, V", 253.0, 1e-9, lambda: supply(MAINS).upper),
        ("narrower side, V", 13.8, 1e-9, lambda: supply(MAINS).half_width),
        ("narrower side of +6 %, -10 %, V", 13.8, 1e-9, lambda: supply(UNDER_MAINS).half_width),
    )
    yield from rooms()


def within(value: float, tolerance: dict[str, object]) -> Target:
    return target_of("power_w", value, TypeAdapter(Tolerance).validate_python(tolerance))


def supply(sides: dict[str, object]) -> Target:
    return within(230.0, sides)


def rooms() -> Iterator[Check]:
    """How far from 230 V a value with U = 2 V, k = 2, may lie and pass."""
    yield from clause_checks(
        *("ILAC-G8:09/2019 4.2.2, on that tolerance", "w = U = 2 V", "reference"),
        ("room below, V", 11.8, 1e-9, lambda: room(supply(MAINS), GUARDED)),
        ("room above, V", 11.8, 1e-9, lambda: room(supply(UNDER_MAINS), GUARDED)),
        ("without a guard band, V", 13.8, 1e-9, lambda: room(supply(MAINS), SimpleAcceptance())),
        ("where w takes all of it, V", 0.0, 0.0, lambda: room(supply(MAINS), GUARDED, u=7.5)),
        (
            "to adjust to where nothing passes, V",
            13.8,
            1e-9,
            lambda: accepted_half_width(value(230.0, 7.5), supply(MAINS), GUARDED),
        ),
        (
            "above 0, of at most 150 mA",
            148.0,
            1e-9,
            lambda: room(at_most("power_w", 150.0), GUARDED),
        ),
    )
    yield from clause_checks(
        *("JCGM 106:2012", "8.3.2 one limit, 2.5 %: 1.96 u", "reference"),
        (
            "above 0, of at most 150 mA",
            150.0 - 1.959964,
            1e-5,
            lambda: room(at_most("power_w", 150.0), CERTAIN),
        ),
    )


def value(size: float, u: float) -> Measured:
    """A value whose readings leave no doubt; k = 2."""
    line = BudgetEntry(source="all", evaluation="B", standard_uncertainty=u)
    return Measured(
        value=size, uncertainty=u, dof=AMPLE_DOF, age_s=6, coverage_factor=2.0, budget=(line,)
    )


def room(target: Target, rule: Decision, u: float = 1.0) -> float:
    on_target = 0.0 if target.one_sided else target.value
    return room_to_pass(value(on_target, u), target, rule)
