"""Whether RF goes off for the presses of a move."""

from types import SimpleNamespace
from typing import Any

import pytest

from ohmwright.adjustment.actions import Press
from ohmwright.adjustment.presses_with_rf_off import PressesWithRfOff


@pytest.mark.parametrize(
    ("key", "refuted", "undisturbed", "waits"),
    [
        ("coarse", False, True, True),
        ("coarse", True, True, False),
        ("coarse", True, False, True),
        ("fine", True, True, True),
    ],
)
def test_only_coarse_presses_after_a_refuted_gain_are_made_with_rf_on(
    *, key: Any, refuted: bool, undisturbed: bool, waits: bool
) -> None:
    """Would notice RF left on for presses that show nothing new, or off for those that would."""
    spec: Any = SimpleNamespace(keys=object())
    nothing: Any = None
    presses = PressesWithRfOff(spec, nothing, nothing, nothing, nothing, nothing)
    decision: Any = SimpleNamespace(gain_known=True, move=Press(key, 2))
    log: Any = SimpleNamespace(undisturbed=undisturbed)
    assert presses.wait_for_rf_off(decision, log, refuted=refuted) is waits
    decision.gain_known = False
    assert not presses.wait_for_rf_off(decision, log, refuted=refuted)
