"""A sentence about RF says what was read, and by whom."""

from datetime import UTC, datetime

import pytest

from ohmwright.model.rf_state import RfTracker

AT = datetime(2026, 5, 4, 8, 30, 15, tzinfo=UTC)


@pytest.mark.parametrize(
    ("as_told", "said"),
    [
        (False, "RF was last read back as off, at 08:30:15 UTC by the bench's clock."),
        (True, "RF was last said by a person to be off, at 08:30:15 UTC by the bench's clock."),
    ],
)
def test_a_person_told_nothing_to_be_off_they_said_so(as_told: bool, said: str) -> None:
    state = RfTracker()
    state.set_on()
    state.set_off(AT, as_told=as_told)
    assert state.text() == said


def test_what_is_about_to_be_sent_may_be_on() -> None:
    state = RfTracker()
    assert state.text() == "RF was never switched on by this program."
    state.set_off(AT)
    state.set_unknown()
    assert "MAY STILL BE ON" in state.text()
