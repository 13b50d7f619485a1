"""Opening serial ports: what is said when it does not work."""

import os
from collections.abc import Iterator
from threading import Event
from types import SimpleNamespace

import pytest
from serial import Serial

from ohmwright.model.errors import LinkBusy, LinkError, LinkTimeout
from ohmwright.wire.links import descriptor, ports, threaded
from ohmwright.wire.links.serial import open_serial

pytestmark = pytest.mark.anyio


@pytest.fixture
def device() -> Iterator[str]:
    ours, theirs = os.openpty()
    yield os.ttyname(theirs)
    os.close(ours)
    os.close(theirs)


def found(monkeypatch: pytest.MonkeyPatch, **serials: str | None) -> None:
    listed = [
        SimpleNamespace(device=f"/dev/{name}", description="USB Serial", serial_number=number)
        for name, number in serials.items()
    ]
    monkeypatch.setattr(ports, "comports", lambda: listed)


async def test_a_port_that_is_not_there(monkeypatch: pytest.MonkeyPatch) -> None:
    found(monkeypatch, ttyUSB7="A10")
    says = r"no such port.*Ports found: /dev/ttyUSB7 \(USB Serial, serial=A10\)"
    with pytest.raises(LinkError, match=says):
        await open_serial("/dev/none-such")


async def test_a_file_that_is_no_port() -> None:
    with pytest.raises(LinkError, match="it is no serial port"):
        await open_serial(os.devnull)


async def test_a_port_that_another_program_has(device: str) -> None:
    with Serial(device, exclusive=True), pytest.raises(LinkBusy, match="in use by another program"):
        await open_serial(device)
    link = await open_serial(device)  # the lock of the failed attempt is gone
    await link.aclose()


async def test_a_port_chosen_by_serial_number(monkeypatch: pytest.MonkeyPatch) -> None:
    found(monkeypatch, ttyS0=None, ttyUSB0="A10", COM3="B20A")
    assert await ports.find_port("serial=A10") == "/dev/ttyUSB0"
    assert await ports.find_port("serial=B20") == "/dev/COM3"
    assert await ports.find_port("/dev/ttyS0") == "/dev/ttyS0"


@pytest.mark.parametrize(
    ("selector", "says"),
    [
        ("serial=C30", r"No serial port has the serial number C30.*ttyUSB0.*ttyUSB1.*Name"),
        ("serial=A10", r"Several serial ports have the serial number A10.*ttyUSB0.*ttyUSB1"),
        ("colour=red", r"selects no port.*serial=NUMBER"),
    ],
)
async def test_a_selector_that_chooses_none(
    monkeypatch: pytest.MonkeyPatch, selector: str, says: str
) -> None:
    found(monkeypatch, ttyUSB0="A10", ttyUSB1="A10")
    with pytest.raises(LinkError, match=says):
        await ports.find_port(selector)


async def test_a_system_that_takes_for_ever_to_list_ports(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    done = Event()
    monkeypatch.setattr(ports, "comports", done.wait)
    monkeypatch.setattr(ports, "LIST_TIMEOUT_S", 0.05)
    assert await ports.found_ports() == []
    done.set()


async def test_a_line_that_takes_no_more_bytes(
    device: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(descriptor, "WRITE_TIMEOUT_S", 0.1)
    link = await open_serial(device)
    with pytest.raises(LinkTimeout, match=r"took \d+ of 1000000 bytes"):
        await link.write(b"x" * 1_000_000)
    await link.aclose()


def test_a_read_that_is_cancelled_holds_off_up_for_no_longer_than_50_ms() -> None:
    """Its thread waits for the end of its slice, and the next message, which may be OFF, for it."""
    assert threaded.SLICE_S <= 0.05
