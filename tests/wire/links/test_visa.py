"""VISA: a dialogue with an instrument of pyvisa-sim, and what is said when opening fails."""

import socket
from pathlib import Path
from threading import Event
from types import SimpleNamespace

import anyio
import pytest

from ohmwright.model.errors import InstrumentRefused, LinkBusy, LinkError, LinkTimeout
from ohmwright.wire import visa_session
from ohmwright.wire.addresses import visa_keys
from ohmwright.wire.clock import RealClock
from ohmwright.wire.command_set import load_command_set
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.link import Link
from ohmwright.wire.links import visa
from ohmwright.wire.links.visa import open_visa
from ohmwright.wire.portlock import PortLock

pytestmark = pytest.mark.anyio

FIXTURE = Path(__file__).parents[3] / "sim_profiles" / "visa" / "bench-analyzer.yaml"
BACKEND = f"{FIXTURE}@sim"
RESOURCES = ("ASRL1::INSTR", "TCPIP0::localhost::5025::SOCKET")


@pytest.mark.parametrize("resource", RESOURCES)
async def test_a_dialogue_with_the_bench_analyzer(resource: str) -> None:
    link = await open_visa(resource, backend=BACKEND)
    commands = load_command_set("scpi-1999-analyzer", Path("bench.toml"))
    dialogue = Dialogue(link, commands, RealClock())
    assert (await dialogue.ask("identify")).startswith("Querfeld Messtechnik,")
    await dialogue.tell("set_load", load_ohm=200)
    assert await dialogue.ask_number("load") == 200
    with pytest.raises(InstrumentRefused) as caught:
        await dialogue.tell("set_load", load_ohm=3)
    assert caught.value.code == -222
    assert await dialogue.ask_number("load") == 200
    assert await dialogue.ask_reading("fetch_current") == (pytest.approx(351.2), 123)
    assert await dialogue.ask_number("state") == 0
    await link.aclose()


@pytest.mark.parametrize(
    ("resource", "backend"),
    [
        ("nonsense", BACKEND),
        ("ASRL1::INSTR", "no-such-file.yaml@sim"),
        ("ASRL1::INSTR", "@nothing"),
        ("ASRL/dev/none-such::INSTR", "@py"),
        ("TCPIP0::127.0.0.1::1::SOCKET", "@py"),
    ],
)
async def test_what_cannot_be_opened(resource: str, backend: str) -> None:
    for _ in range(2):  # the second attempt finds no lock left behind
        with pytest.raises(LinkError, match=r"could not be opened.*Check") as caught:
            await open_visa(resource, backend=backend)
        assert "Traceback" not in str(caught.value)


async def test_a_line_that_takes_no_more_bytes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(visa_session, "WRITE_TIMEOUT_S", 0.1)
    with socket.create_server(("127.0.0.1", 0)) as listening:
        link = await open_visa(f"TCPIP0::127.0.0.1::{listening.getsockname()[1]}::SOCKET")
        with pytest.raises(LinkTimeout, match="took 0 of 1000 bytes"):
            await _write_for_ever(link)
        await link.aclose()


async def _write_for_ever(link: Link) -> None:
    while True:
        await link.write(b"x" * 1000)


async def test_an_opening_given_up_leaves_nothing_open(monkeypatch: pytest.MonkeyPatch) -> None:
    begun, go_on, closed = Event(), Event(), Event()

    def slowly(*_: object) -> object:
        begun.set()
        go_on.wait()
        return SimpleNamespace(close=closed.set)

    monkeypatch.setattr(visa, "open_session", slowly)
    async with anyio.create_task_group() as group:
        group.start_soon(open_visa, "ASRL1::INSTR")
        await anyio.to_thread.run_sync(begun.wait)
        group.cancel_scope.cancel()
    assert not closed.is_set()
    go_on.set()
    assert await anyio.to_thread.run_sync(closed.wait, 5.0)
    with anyio.fail_after(60):
        while True:
            try:
                PortLock("ASRL1", await visa_keys("ASRL1::INSTR", "@py")).release()
            except LinkBusy:
                await anyio.lowlevel.checkpoint()
            else:
                break
