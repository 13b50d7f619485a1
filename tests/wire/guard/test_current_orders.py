"""A guard whose engine is gone asks the meter, too: a contact that reads open is not RF off."""

from __future__ import annotations

import json
import socket
import threading
from collections.abc import Callable
from itertools import count
from math import exp
from pathlib import Path

import pytest

from ohmwright.model.hardware import MeterData
from ohmwright.model.source import load
from ohmwright.wire.command_set import CommandSet, load_command_set
from ohmwright.wire.guard import port_release, process
from ohmwright.wire.guard.current_orders import CurrentOrders
from ohmwright.wire.guard.making_orders import HandedOrders, orders_with_meter
from ohmwright.wire.guard.port_release import PortRelease

FILES = Path(__file__).parents[2] / "emulators" / "files"
METER = MeterData(max_current_ma=2500, resolution_ma=1, readings_per_s=10, window_s=0.5)


def orders(name: str) -> HandedOrders:
    if name.startswith("scpi"):
        return orders_with_meter(load_command_set(name, Path("bench.toml")), METER)
    return orders_with_meter(load(FILES / f"{name}-commands.toml", CommandSet), METER)


@pytest.mark.parametrize(
    ("name", "body", "flows"),
    [
        ("scpi-1999-analyzer", b"+4.12300E-01,A,00012", True),
        ("scpi-1999-analyzer", b"+8.00000E-03,A,00012", False),  # five digits of zero, and three
        ("scpi-1999-analyzer", b"+9.00000E-03,A,00012", True),
        ("scpi-1999-analyzer", b"0", None),
        ("brindle-7", b"I=412.3 MA", True),
        ("brindle-7", b"I=0.0 MA", False),
        ("brindle-7", b"I=----", None),
    ],
)
def test_whether_a_current_flows(name: str, body: bytes, flows: bool | None) -> None:
    made = orders(name).current
    assert made is not None
    assert CurrentOrders.from_json(json.loads(json.dumps(made.as_json()))) == made
    assert made.flows(body) is flows


@pytest.mark.parametrize("name", ["tamsin-40", "sedge-s1"])
def test_what_is_no_plain_number_is_not_asked_for(name: str) -> None:
    """Binary, and in lines that come by themselves."""
    assert orders(name).current is None


class Port:
    """An analyzer whose contact reads open whatever it does; `shows` the current after n asked."""

    def __init__(self, shows: Callable[[int], bytes]) -> None:
        self._shows, self._came, self._asked = shows, b"", count()
        self.offs = 0

    def fileno(self) -> None:
        return None

    def write(self, data: bytes) -> None:
        self.offs += data.count(b"OUTPut:STATe OFF")
        if data.endswith(b"STATe?\n"):
            self._came += b"0\n"
        elif data.startswith(b"FETCh:CURRent?"):
            self._came += self._shows(next(self._asked))

    def late(self, data: bytes) -> None:
        """Have `data` come though nothing was asked."""
        self._came += data

    def read(self) -> bytes:
        data, self._came = self._came, b""
        return data


def flowing(_: int) -> bytes:
    return b"+4.12300E-01,A,00012\n"


@pytest.mark.parametrize(
    ("shows", "off"),
    [
        (flowing, False),
        (lambda asked: b"+%.5E,A,00012\n" % (0.4 * 0.1**asked), True),
        (lambda _: b"+0.00000E+00,A,00012\n", True),
        (lambda _: b"", True),
        (lambda _: b"?\n", True),
    ],
    ids=["flows", "fades", "none", "silent", "nonsense"],
)
def test_a_guard_that_is_left_alone_warns_of_a_current(
    monkeypatch: pytest.MonkeyPatch, shows: Callable[[int], bytes], off: bool
) -> None:
    """Would notice RF that stays on behind a contact that reads open, with nobody to say so."""
    ticks = count()
    monkeypatch.setattr(port_release, "elapsed_s", lambda: 0.001 * next(ticks))
    port, made = Port(shows), orders("scpi-1999-analyzer")
    release = PortRelease(port, made.release, made.current)
    assert release.end_for_good() is off
    assert port.offs > 1 or shows is not flowing
    assert release.switch_off()  # which is all that a guard says to an engine that lives


def test_a_line_that_fails_after_off_says_nothing_against_a_current(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would notice a guard that dies of it, and warns nobody."""
    ticks = count()
    monkeypatch.setattr(port_release, "elapsed_s", lambda: 0.001 * next(ticks))

    def gone(_: int) -> bytes:
        raise OSError(5, "Input/output error")

    made = orders("scpi-1999-analyzer")
    assert not PortRelease(Port(gone), made.release, made.current).end_for_good()


def test_a_late_reading_says_nothing_against_a_current(monkeypatch: pytest.MonkeyPatch) -> None:
    ticks = count()
    monkeypatch.setattr(port_release, "elapsed_s", lambda: 0.001 * next(ticks))
    port, made = Port(flowing), orders("scpi-1999-analyzer")
    port.late(b"+0.00000E+00,A,00011\n")  # of a question that the engine had asked
    assert PortRelease(port, made.release, made.current).current_stays()


@pytest.mark.parametrize(("shows", "warned"), [(flowing, 1), (lambda _: b"", 0)])
def test_a_guard_of_an_engine_that_hangs_warns_of_a_current(
    monkeypatch: pytest.MonkeyPatch, shows: Callable[[int], bytes], warned: int
) -> None:
    said, ticks, made = list[str](), count(), orders("scpi-1999-analyzer")
    monkeypatch.setattr(port_release, "elapsed_s", lambda: 0.001 * next(ticks))
    monkeypatch.setattr(process, "warn", said.append)
    monkeypatch.setattr(process, "_ANSWERS_WITHIN_S", 0.0)
    ours, far = socket.socketpair()
    before = set(threading.enumerate())
    with ours, far:
        release = PortRelease(Port(shows), made.release, made.current)
        process.Guard(ours, release)._trip()
    for telling in set(threading.enumerate()) - before:
        telling.join()
    assert said == [process.HANGS_WARNING] * warned


def test_a_guard_knows_that_its_engine_is_gone() -> None:
    """Nobody else would warn a person then."""
    made = orders("scpi-1999-analyzer")
    ours, far = socket.socketpair()
    with ours:
        far.close()
        guard = process.Guard(ours, PortRelease(Port(flowing), made.release, made.current))
        guard._relay_once()
        assert guard.stopped
        assert guard.deserted


def test_a_meters_filter_is_no_current_that_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    """It shows 2 % of the current after four of its time constants, its window."""
    ticks = count()
    monkeypatch.setattr(port_release, "elapsed_s", lambda: 0.001 * next(ticks))

    def fading(_: int) -> bytes:
        return b"+%.5E,A,00012\n" % (0.4 * exp(-0.001 * next(ticks) / METER.window_s))

    made = orders("scpi-1999-analyzer")
    assert PortRelease(Port(fading), made.release, made.current).end_for_good()
