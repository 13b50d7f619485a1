"""What a back end was told is taken for set only where the same instrument still answers."""

from __future__ import annotations

import pytest

from ohmwright.instruments.back_ends.base import BackEnd
from ohmwright.instruments.back_ends.calls import Calls
from ohmwright.instruments.back_ends.generator import BackEndGenerator
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
        self.mode_now, self.power_w, self.serial = "cut", 155.0, "7"

    def identify(self) -> str:
        return f"Marrick {self.serial}"

    def mode(self) -> str:
        return self.mode_now

    def power(self) -> float:
        return self.power_w

    def select_mode(self, mode: str) -> None:
        self.mode_now = mode

    def set_power(self, setting_w: float) -> None:
        self.power_w = setting_w

    def service_on(self) -> None:
        self.power_w = 120.0

    def set_point(self, point: str) -> None:
        pass

    def trim(self) -> int:
        return 12


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


async def test_one_damaged_answer_is_no_setting_that_somebody_changed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    said, knobs = [20.0, 155.0, 155.0], Knobs()
    monkeypatch.setattr(knobs, "power", lambda: said.pop(0))
    calls = VerifiedCalls(knobs, frozenset(("power",)), Calls("unit", None, 1.0), "", seed=1)
    assert await calls.other_number("power", 155.0) is None
    assert said == []


async def test_no_knob_is_blamed_where_another_unit_answers() -> None:
    """Nor a line that changes what is said on it."""
    knobs = Knobs()
    verbs = frozenset(("identify", "mode", "power"))
    calls = VerifiedCalls(knobs, verbs, Calls("unit", None, 1.0), "", seed=1)
    setting = ChosenSetting(calls)
    await calls.identify()
    setting.note("cut", 155.0)
    knobs.power_w, knobs.serial = 20.0, "8"
    with pytest.raises(ProtocolError, match="unit is now 'Marrick 8', not 'Marrick 7'"):
        await setting.changed()


async def test_a_unit_has_the_setting_chosen_last_and_in_service_mode_its_own() -> None:
    knobs = Knobs()
    verbs = frozenset(("identify", "mode", "power", "trim"))
    calls = VerifiedCalls(knobs, verbs, Calls("unit", None, 1.0), "", seed=1)
    unit = BackEndGenerator(None, calls)  # type: ignore[arg-type]
    await unit.select("cut", 100.0)
    knobs.power_w = 20.0
    assert await unit.setting_changed() == "20 W reads back, not 100 W"
    await unit.enter_service("P1")
    assert await unit.setting_changed() == ""
