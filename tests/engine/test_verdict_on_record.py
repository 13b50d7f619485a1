"""A verdict on record is held against its own figures, whichever rule has decided."""

import pytest

from ohmwright.engine.verdict_on_record import what_differs
from ohmwright.model.result import Conformity, Measured, Result
from ohmwright.model.tolerance import Target

BAND = Target(quantity="power_w", value=100, lower=80, upper=120)
OF_ANOTHER_PACKAGE = Conformity(rule="ours", probability=1, accept_from=85, accept_to=115)


def said_of_pass(value: float, how: Conformity | None) -> str:
    """What is said of `value` that is recorded as a pass."""
    return what_differs(
        Result(
            stage="as_found",
            step="s",
            point="p",
            kind="output",
            verdict="pass",
            target=BAND,
            measured=Measured(value=value, uncertainty=0.1, dof=1e6, age_s=6),
            conformity=how,
        )
    )


@pytest.mark.parametrize("value", [79.9, 120.1])
def test_a_figure_beyond_either_limit_is_no_pass(value: float) -> None:
    assert said_of_pass(100.0, None) == ""
    assert "its figures on record make it fail" in said_of_pass(value, None)


@pytest.mark.parametrize("value", [84.9, 115.1])
def test_a_value_beyond_what_another_rule_accepted_is_no_pass(value: float) -> None:
    assert said_of_pass(85.0, OF_ANOTHER_PACKAGE) == ""
    assert "not among those accepted" in said_of_pass(value, OF_ANOTHER_PACKAGE)
