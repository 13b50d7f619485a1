"""What a person is told to do where a run ends with the unit in service mode."""

from __future__ import annotations

from ohmwright.adjustment.actions import Press
from ohmwright.engine.service_state import ServiceState

LEAVE = "leave service mode without saving; that undoes whatever was pressed there and not saved."


def test_leaving_is_an_alternative_only_where_presses_can_be_undone_as_well() -> None:
    state = ServiceState("P1", by_hand=True)
    where = "The unit may still be in service mode at adjustment point P1."
    assert state.instructions_to_undo == f"{where} L{LEAVE[1:]}"
    state.add_move(Press("fine", 2))
    told = state.instructions_to_undo
    assert told.endswith(f" To undo that: Press fine down 2 times. Or {LEAVE}")
