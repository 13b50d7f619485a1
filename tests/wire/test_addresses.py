"""Whatever way an address is spelled, it stands for the same line."""

import socket
from pathlib import Path

import pytest

from ohmwright.model.errors import LinkBusy
from ohmwright.wire import addresses
from ohmwright.wire.addresses import tcp_keys, visa_keys
from ohmwright.wire.command_set import load_command_set
from ohmwright.wire.guard.opening import open_guarded_tcp
from ohmwright.wire.links.tcp import open_tcp
from ohmwright.wire.links.visa import open_visa
from ohmwright.wire.portlock import device_keys

pytestmark = pytest.mark.anyio
OWN = [
    "localhost",
    "LocalHost",
    "127.0.0.1",
    "127.1",
    "127.0.0.2",
    "::1",
    "::ffff:127.0.0.1",
    "0.0.0.0",
]
COMMANDS = load_command_set("scpi-1999-analyzer", Path("bench.toml"))


@pytest.mark.parametrize("host", OWN)
async def test_this_machine_is_one_by_whatever_name(host: str) -> None:
    assert await tcp_keys(host, 5025) == {"tcp this machine 5025"}


async def test_machines_and_ports_are_apart() -> None:
    assert await tcp_keys("localhost", 5025) != await tcp_keys("localhost", 5026)
    assert await tcp_keys("192.0.2.1", 5025) == {"tcp 192.0.2.1 5025"}
    assert await tcp_keys("2001:DB8:0::1", 5025) == await tcp_keys("2001:db8::1", 5025)


async def test_a_name_stands_for_each_of_its_addresses(monkeypatch: pytest.MonkeyPatch) -> None:
    async def addresses_of(host: str, *_: object, **__: object) -> list[tuple]:
        assert host == "analyzer.example"
        there = ("192.0.2.7", "2001:db8::7")
        return [(0, socket.SOCK_STREAM, 6, "", (address, 0)) for address in there]

    monkeypatch.setattr(addresses.anyio, "getaddrinfo", addresses_of)
    assert await tcp_keys("analyzer.example", 1) == {"tcp 192.0.2.7 1", "tcp 2001:db8::7 1"}


async def test_a_name_without_an_address_stands_for_itself() -> None:
    assert await tcp_keys("No-Such-Host.invalid", 1) == {"tcp no-such-host.invalid 1"}


@pytest.mark.parametrize(
    "resource",
    [
        "TCPIP::localhost::5025::SOCKET",
        "tcpip3::127.0.0.1::5025::socket",
        "TCPIP::[::1]::5025::SOCKET",
    ],
)
async def test_a_socket_through_visa_is_the_same_line(resource: str) -> None:
    assert await visa_keys(resource, "@py") == await tcp_keys("127.0.0.1", 5025)


async def test_network_instruments_of_visa() -> None:
    whole = await visa_keys("TCPIP0::localhost::inst0::INSTR", "@py")
    assert whole == {"visa this machine inst0"}
    for spelling in ("tcpip::127.0.0.1::instr", "TCPIP::LOCALHOST", "TCPIP0::::1::INST0"):
        assert await visa_keys(spelling, "@py") == whole
    assert await visa_keys("TCPIP::localhost::inst1::INSTR", "@py") != whole


async def test_a_serial_device_through_visa_is_the_same_line(tmp_path: Path) -> None:
    (tmp_path / "device").touch()
    (tmp_path / "link").symlink_to(tmp_path / "device")
    for spelling in (f"ASRL{tmp_path}/link::INSTR", f"asrl{tmp_path}/device"):
        assert await visa_keys(spelling, "@py") == device_keys(str(tmp_path / "device"))


async def test_others_of_visa() -> None:
    upper = await visa_keys("USB0::0x1234::0x5678::A1::INSTR", "@py")
    assert await visa_keys("usb0::0x1234::0x5678::a1::instr", "") == upper
    one = await visa_keys("ASRL1::INSTR", "a.yaml@sim")
    assert one != await visa_keys("ASRL1::INSTR", "b.yaml@sim")


@pytest.mark.parametrize("host", ["localhost", "LOCALHOST", "127.0.0.2", "::ffff:127.0.0.1"])
async def test_two_spellings_do_not_reach_one_analyzer_at_once(host: str) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listening:
        port = listening.getsockname()[1]
        link = await open_guarded_tcp("127.0.0.1", port, commands=COMMANDS)
        with pytest.raises(LinkBusy, match="in use by process"):
            await open_guarded_tcp(host, port, commands=COMMANDS)
        with pytest.raises(LinkBusy, match="in use by process"):
            await open_tcp(host, port)
        with pytest.raises(LinkBusy, match="in use by process"):
            await open_visa(f"TCPIP::{host}::{port}::SOCKET")
        await link.aclose()
