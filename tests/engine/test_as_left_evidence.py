"""A value as left contradicts an adjusted point only beyond the uncertainties of both."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from ohmwright.engine.as_left_evidence import AsLeftEvidence
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.model.quantity import Quantity
from ohmwright.model.result import Measured, Result
from ohmwright.model.shipped import shipped
from ohmwright.model.tolerance import Target

LOAD_OHM = 50.0


def _measured(quantity: Quantity, value: float, expanded: float) -> Measured:
    return Measured(
        quantity=quantity,
        value=value,
        uncertainty=expanded / 2,
        dof=1e6,
        age_s=6.0,
        expanded=expanded,
    )


@pytest.mark.parametrize(
    ("left", "landed_u_ma", "told"),
    [
        (_measured("current_ma", 935.0, 20.0), 30.0, False),  # 35 ± 36 mA
        (_measured("current_ma", 938.0, 20.0), 30.0, True),
        (
            _measured("power_w", LOAD_OHM * 0.935**2, 2 * 0.02 / 0.935 * LOAD_OHM * 0.935**2),
            30.0,
            False,
        ),
        (
            _measured("power_w", LOAD_OHM * 0.938**2, 2 * 0.02 / 0.938 * LOAD_OHM * 0.938**2),
            30.0,
            True,
        ),
        (_measured("current_ma", 906.0, 2.0), 2.0, False),  # half a tolerance is 7 mA
        (_measured("current_ma", 908.0, 2.0), 2.0, True),
    ],
)
def test_what_both_uncertainties_explain_is_not_told(
    make_rig: Callable[..., Any], left: Measured, landed_u_ma: float, *, told: bool
) -> None:
    """P1 landed at 900 mA ± that; as left a current, or a power in W, is measured into its load."""
    procedure = read_procedure(shipped("procedures", "attended-marlow.toml")).procedure
    generator = make_rig(bench="attended", attended=True).bench.generator.data
    adjusted = Result(
        stage="adjust",
        step="adjust-p1",
        point="P1",
        kind="adjust",
        verdict="pass",
        load_ohm=LOAD_OHM,
        target=Target(quantity="current_ma", value=900.0, lower=886.0, upper=914.0),
        measured=_measured("current_ma", 900.0, landed_u_ma),
    )
    now = Result(
        stage="as_left",
        step="cut-full",
        point="50 ohm",
        kind="power_curve",
        verdict="pass",
        load_ohm=LOAD_OHM,
        measured=left,
    )
    said = AsLeftEvidence(procedure, generator, [adjusted]).contradicting(now)
    assert bool(said) is told
    failed = adjusted.model_copy(update={"verdict": "fail"})
    assert AsLeftEvidence(procedure, generator, [failed]).contradicting(now) == ""
