"""What a back end was told is taken for set only where the same instrument still answers."""

from __future__ import annotations

import pytest

from ohmwright.instruments.back_ends.base import BackEnd
from ohmwright.instruments.back_ends.calls import Calls
from ohmwright.instruments.back_ends.verified_calls import VerifiedCalls
from ohmwright.instruments.chosen_setting import ChosenSetting
from ohmwright.model.errors import ProtocolError

pytestmark = pytest.mark.anyio


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


class Exchanged(BackEnd):
    """In its place another instrument answers from the first setting on."""

    def __init__(self) -> None:
        self._load_ohm = 0.0

    def identify(self) -> str:
        return "Stilt 3" if self._load_ohm == 0 else "Stilt 4"

    def set_load(self, load_ohm: float) -> None:
        self._load_ohm = load_ohm

    def load(self) -> float:
        return self._load_ohm


async def test_a_setting_that_another_instrument_took_is_not_set() -> None:
    verbs = frozenset(("identify", "set_load", "load"))
    calls = VerifiedCalls(Exchanged(), verbs, Calls("meter", None, 1.0), "Stilt", seed=1)
    assert await calls.identify() == "Stilt 3"
    with pytest.raises(ProtocolError, match="meter is now 'Stilt 4', not 'Stilt 3'"):
        await calls.set_number("set_load", "load", 100.0)


class Knobs(BackEnd):
    """A unit whose knobs somebody turns."""

    def __init__(self) -> None:
        self.mode_now, self.power_w = "cut", 155.0

    def identify(self) -> str:
        return "Marrick 7"

    def mode(self) -> str:
        return self.mode_now

    def power(self) -> float:
        return self.power_w


@pytest.mark.parametrize(
    ("mode", "power_w", "said"),
    [
        ("cut", 155.04, ""),
        ("cut", 20.0, "20 W reads back, not 155 W"),
        ("coag", 155.0, "mode coag reads back, not cut"),
    ],
)
async def test_a_setting_that_somebody_changed_is_told(
    mode: str, power_w: float, said: str
) -> None:
    knobs = Knobs()
    verbs = frozenset(("identify", "mode", "power"))
    setting = ChosenSetting(VerifiedCalls(knobs, verbs, Calls("unit", None, 1.0), "", seed=1))
    knobs.mode_now, knobs.power_w = mode, power_w
    assert await setting.changed() == "", "nothing was chosen"
    setting.note("cut", 155.0)
    assert await setting.changed() == said
    setting.forget()
    assert await setting.changed() == ""


async def test_what_cannot_be_asked_has_not_changed() -> None:
    calls = VerifiedCalls(Knobs(), frozenset(("identify",)), Calls("unit", None, 1.0), "", seed=1)
    setting = ChosenSetting(calls)
    setting.note("coag", 20.0)
    assert await setting.changed() == ""
