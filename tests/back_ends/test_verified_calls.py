"""What a back end was told is taken for set only where the same instrument still answers."""

from __future__ import annotations

import pytest

from ohmwright.instruments.back_ends.base import BackEnd
from ohmwright.instruments.back_ends.calls import Calls
from ohmwright.instruments.back_ends.verified_calls import VerifiedCalls
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
