"""A meter that shows power and no current: the current is what drives it into the load."""

from math import isnan

import pytest

from ohmwright.instruments.remote_analyzer import RemoteAnalyzer
from ohmwright.model.errors import LinkLost
from ohmwright.model.hardware import AnalyzerData
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.dialogue import Dialogue, LinkState
from tests.wire.conftest import LateLink

pytestmark = pytest.mark.anyio
DATA = load(shipped("analyzers", "gantry-400.toml"), AnalyzerData, table="data")
COMMANDS = CommandSet.model_validate(
    {
        "name": "watts",
        "format": 2,
        "ask": {
            "identify": {"send": "id", "reply": "id {identity}"},
            "state": {"send": "now", "reply": "now {state}"},
            "fetch_current": {
                "send": "p",
                "reply": ["P={power_w} W", "P={power_mw} mW"],
                "no_reading": "P=----",
            },
        },
        "tell": {"set_load": "z {load_ohm:.0f}", "on": "on {limit_s:.1f}", "off": "off"},
    }
)


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


def _showing(shown: dict[bytes, bytes]) -> RemoteAnalyzer:
    clock = VirtualClock()
    link = LateLink(lambda message: shown.get(message.strip(), b""), clock)
    return RemoteAnalyzer(DATA, Dialogue(link, COMMANDS, clock))


async def test_a_power_is_read_as_the_current_that_drives_it_into_the_load() -> None:
    shown = {b"id": b"id X\n", b"now": b"now 0\n", b"p": b"P=125.0 W\n"}
    analyzer = _showing(shown)
    assert analyzer.shows_power
    await analyzer.set_load(500)
    assert (await analyzer.fetch_current()).current_ma == pytest.approx(500)
    assert await analyzer.glance() == (False, pytest.approx(500))
    shown[b"p"] = b"P=405 mW\n"
    await analyzer.set_load(50)
    assert (await analyzer.fetch_current()).current_ma == pytest.approx(90)
    shown[b"p"] = b"P=----\n"
    assert isnan((await analyzer.fetch_current()).current_ma)


async def test_before_a_load_is_known_it_is_the_largest_current() -> None:
    """Would notice RF that nobody asked for, taken for the zero of the meter."""
    analyzer = _showing({b"id": b"id X\n", b"now": b"now 0\n", b"p": b"P=0.1 W\n"})
    smallest_ohm = min(DATA.load_bank.loads_ohm)
    assert (await analyzer.fetch_current()).current_ma == pytest.approx(
        1000 * (0.1 / smallest_ohm) ** 0.5
    )


async def test_a_power_that_no_meter_shows_is_asked_for_again_and_read_as_a_current_too() -> None:
    """Would notice watts taken for mA, and a power below zero taken for one above."""
    said, told = [b"P=125.0 W\n", b"P=-125.0 W\n"], list[str]()
    clock = VirtualClock()
    link = LateLink(lambda message: said.pop() if message == b"p\n" else b"", clock)
    analyzer = RemoteAnalyzer(DATA, Dialogue(link, COMMANDS, clock))
    analyzer.load_ohm, analyzer.on_unused_reading = 500, told.append
    analyzer.dialogue.state = LinkState.SYNCED
    assert (await analyzer.fetch_current()).current_ma == pytest.approx(500)
    assert "the analyzer read -500 mA" in told[0]


async def test_by_a_load_that_may_not_be_connected_any_more_no_power_is_read() -> None:
    """Would notice RF into a small load, read as the smaller current of the load before."""
    analyzer = _showing({b"id": b"id X\n", b"now": b"now 0\n"})
    await analyzer.set_load(500)
    analyzer.dialogue.framing.link.unplugged = True
    with pytest.raises(LinkLost):
        await analyzer.set_load(50)
    assert analyzer.load_ohm is None
