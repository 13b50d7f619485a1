"""A trim is stored only where the unit says so, where it can be asked."""

from types import SimpleNamespace
from typing import Any

import pytest

from ohmwright.instruments.remote_generator import RemoteGenerator
from ohmwright.model.errors import ProtocolError

pytestmark = pytest.mark.anyio


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


def unit(**says: float) -> tuple[RemoteGenerator, list[str]]:
    """A unit that answers so, and what it was told."""
    told = list[str]()

    async def tell(verb: str) -> None:
        told.append(verb)

    async def number(verb: str) -> float:
        return says[verb]

    async def identify() -> str:
        return "Quillon 300"

    generator: Any = RemoteGenerator.__new__(RemoteGenerator)
    commands = SimpleNamespace(can_ask=lambda verb: verb in says)
    generator.dialogue = SimpleNamespace(tell=tell, commands=commands)
    generator._verified = SimpleNamespace(number=number, identify=identify)
    return generator, told


async def test_a_unit_that_kept_another_trim_has_not_stored_it() -> None:
    generator, told = unit(stored=12, trim=17)
    with pytest.raises(ProtocolError, match="has kept the trim 12, not 17"):
        await generator.store_trims()
    assert told == ["store"]  # and not once more


@pytest.mark.parametrize("says", [{"stored": 17, "trim": 17}, {"trim": 17}])
async def test_one_that_kept_it_or_cannot_be_asked_is_told_once(says: dict[str, float]) -> None:
    generator, told = unit(**says)
    await generator.store_trims()
    assert told == ["store"]
