"""A guard's orders say OFF and read the state in the words of a command set, and of no other."""

from __future__ import annotations

import json
from itertools import count
from pathlib import Path

import pytest

from ohmwright.model.source import load
from ohmwright.wire.command_set import CommandSet, load_command_set
from ohmwright.wire.guard import port_release
from ohmwright.wire.guard.making_orders import release_orders
from ohmwright.wire.guard.orders import ReleaseOrders
from ohmwright.wire.guard.port_release import PortRelease
from tests.emulators.brindle import Brindle
from tests.emulators.plant import Plant
from tests.emulators.port import Port
from tests.emulators.sedge import Sedge
from tests.emulators.tamsin import Tamsin

LONG_S = 5000.0
FILES = Path(__file__).parents[2] / "emulators" / "files"


def orders(name: str) -> ReleaseOrders:
    if name.startswith("scpi"):
        made = release_orders(load_command_set(name, Path("bench.toml")))
    else:
        made = release_orders(load(FILES / f"{name}-commands.toml", CommandSet))
    assert ReleaseOrders.from_json(json.loads(json.dumps(made.as_json()))) == made
    return made


@pytest.mark.parametrize(
    ("name", "body", "off"),
    [
        ("scpi-1999-analyzer", b"0", True),
        ("scpi-1999-analyzer", b"+0.0E0", True),
        ("scpi-1999-analyzer", b"2", False),
        ("scpi-1999-analyzer", b"0 0", None),
        ("brindle-7", b"KEY=OPEN", True),
        ("brindle-7", b"KEY=TRIPPED", True),
        ("brindle-7", b"KEY=CLOSED", False),
        ("brindle-7", b"0", None),
        ("brindle-7", b"ERR 9", None),
        ("tamsin-40", b"\xa2\x00\x00\x00", True),
        ("tamsin-40", b"\xa2\x01\x00\x00", False),
        ("tamsin-40", b"\xa2\x02\x00\x00", False),  # a fault is not off
        ("tamsin-40", b"\xb0\x00\x00\x00", None),
        ("sedge-s1", b"0000.0 0 0300 000", True),
        ("sedge-s1", b"0000.0 1 0300 119", False),
        ("sedge-s1", b"A", None),
    ],
)
def test_what_reads_off(name: str, body: bytes, off: bool | None) -> None:
    assert orders(name).says_off(body) is off


class Direct:
    """A blocking port straight to an invented instrument."""

    def __init__(self, instrument: Port) -> None:
        self._instrument, self._came = instrument, b""
        instrument.say = self._say  # type: ignore[method-assign]

    def _say(self, data: bytes) -> None:
        self._came += data

    def fileno(self) -> None:
        return None

    def write(self, data: bytes) -> None:
        self._instrument.hear(data)

    def read(self) -> bytes:
        self._instrument.tick()
        data, self._came = self._came, b""
        return data


@pytest.fixture
def plant(monkeypatch: pytest.MonkeyPatch) -> Plant:
    """Keyed, in time that each look at a clock moves on."""
    ticks = count()
    monkeypatch.setattr(port_release, "elapsed_s", lambda: 0.001 * next(ticks))
    plant = Plant(now_s=lambda: 0.001 * next(ticks))
    plant.key(LONG_S)
    return plant


def release(name: str, instrument: Port) -> bool:
    return PortRelease(Direct(instrument), orders(name)).switch_off()


def test_a_guard_releases_each(plant: Plant) -> None:
    for name, kind in (("tamsin-40", Tamsin), ("sedge-s1", Sedge)):
        plant.key(LONG_S)
        assert release(name, kind(plant))
        assert not plant.is_on


def test_off_that_local_control_refuses_is_sent_again_after_the_opening(plant: Plant) -> None:
    assert release("brindle-7", Brindle(plant, quick=True))
    assert not plant.is_on


def test_an_output_that_stays_on_is_not_called_off(plant: Plant) -> None:
    plant.release = lambda: None  # type: ignore[method-assign]
    for name, kind in (("tamsin-40", Tamsin), ("sedge-s1", Sedge)):
        assert not release(name, kind(plant))
