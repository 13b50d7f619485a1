"""Every kind of line with the far end in the test's hands."""

import os
import socket
import tty
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

import anyio
import pytest
from serial import Serial

from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.command_set import load_command_set
from ohmwright.wire.guard.opening import (
    open_guarded_serial,
    open_guarded_tcp,
    open_guarded_visa,
)
from ohmwright.wire.link import Link
from ohmwright.wire.links.memory import MemoryLink
from ohmwright.wire.links.serial import SerialThreadLink, open_serial
from ohmwright.wire.links.tcp import open_tcp
from ohmwright.wire.links.visa import open_visa
from ohmwright.wire.portlock import device_lock


@pytest.fixture(autouse=True)
def own_locks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the locks of tests apart from those of a real bench."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))


class FarEnd:
    """The instrument's end of a line."""

    async def say(self, data: bytes) -> None:
        raise NotImplementedError

    async def hear(self, count: int) -> bytes:
        raise NotImplementedError

    def hang_up(self) -> None:
        raise NotImplementedError


@dataclass
class Line:
    """A link, its far end, and how to open another one to the same place."""

    link: Link
    far: FarEnd
    reopen: Callable[[], object] | None = None


class DescriptorEnd(FarEnd):
    """A far end with a file descriptor."""

    def __init__(self, descriptor: int, close: Callable[[], None]) -> None:
        self.descriptor, self.close, self.open = descriptor, close, True

    async def say(self, data: bytes) -> None:
        while data:
            await anyio.wait_writable(self.descriptor)
            data = data[os.write(self.descriptor, data[:1024]) :]

    async def hear(self, count: int) -> bytes:
        heard = b""
        with anyio.fail_after(60):
            while len(heard) < count:
                await anyio.wait_readable(self.descriptor)
                heard += os.read(self.descriptor, count - len(heard))
        return heard

    def hang_up(self) -> None:
        if self.open:
            self.open = False
            self.close()


class MemoryEnd(FarEnd):
    """Answers when spoken to, so what it says goes out with an empty line."""

    def __init__(self) -> None:
        self.heard, self.to_say, self.gone = b"", b"", False
        self.link: Link

    def handle(self, line: bytes) -> bytes:
        if self.gone:
            raise ConnectionResetError("unplugged")
        if line != b"\n":
            self.heard += line
            return b""
        said, self.to_say = self.to_say, b""
        return said

    async def say(self, data: bytes) -> None:
        self.to_say += data
        await self.link.write(b"\n")

    async def hear(self, count: int) -> bytes:
        heard, self.heard = self.heard[:count], self.heard[count:]
        return heard

    def hang_up(self) -> None:
        self.gone = True


class SimulatedEnd(FarEnd):
    """Of pyvisa-sim: says each text that it has a dialogue for, and tells nobody what it heard."""

    TEXTS = ("hello", "first", "second")
    DEVICE = (
        """
spec: "1.1"
devices:
  parrot:
    eom:
      ASRL INSTR: {q: "\\n", r: "\\n"}
    error: {response: {command_error: ERROR}}
    dialogues:
      - q: "hush"
"""
        + "".join(f"      - {{q: 'say {text}', r: '{text}'}}\n" for text in TEXTS)
        + """
resources:
  ASRL1::INSTR: {device: parrot}
"""
    )

    def __init__(self) -> None:
        self.link: Link

    async def say(self, data: bytes) -> None:
        for text in data.split():
            await self.link.write(b"say " + text + b"\n")

    async def hear(self, count: int) -> bytes:
        pytest.skip("pyvisa-sim does not tell what it heard")


def memory_line() -> Line:
    far = MemoryEnd()
    far.link = MemoryLink("memory", far.handle, VirtualClock())
    return Line(far.link, far)


def pseudo_terminal(stack: AsyncExitStack) -> tuple[str, DescriptorEnd]:
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    stack.callback(os.close, theirs)
    far = DescriptorEnd(ours, lambda: os.close(ours))
    stack.callback(far.hang_up)
    return os.ttyname(theirs), far


async def serial_line(stack: AsyncExitStack) -> Line:
    device, far = pseudo_terminal(stack)
    return Line(await open_serial(device), far, lambda: open_serial(device))


async def serial_thread_line(stack: AsyncExitStack) -> Line:
    device, far = pseudo_terminal(stack)
    return Line(SerialThreadLink(device, Serial(device), device_lock(device)), far)


def listener(stack: AsyncExitStack) -> socket.socket:
    listening = stack.enter_context(socket.create_server(("127.0.0.1", 0)))
    listening.setblocking(False)
    return listening


async def accepted(listening: socket.socket, stack: AsyncExitStack) -> DescriptorEnd:
    await anyio.wait_readable(listening)
    connection, _ = listening.accept()
    connection.setblocking(False)
    far = DescriptorEnd(connection.fileno(), connection.close)
    stack.callback(far.hang_up)
    return far


async def tcp_line(stack: AsyncExitStack) -> Line:
    listening = listener(stack)
    port = listening.getsockname()[1]
    link = await open_tcp("127.0.0.1", port)
    return Line(link, await accepted(listening, stack), lambda: open_tcp("127.0.0.1", port))


async def visa_socket_line(stack: AsyncExitStack) -> Line:
    listening = listener(stack)
    resource = f"TCPIP0::127.0.0.1::{listening.getsockname()[1]}::SOCKET"
    link = await open_visa(resource)
    return Line(link, await accepted(listening, stack), lambda: open_visa(resource))


async def visa_serial_line(stack: AsyncExitStack) -> Line:
    device, far = pseudo_terminal(stack)
    resource = f"ASRL{device}::INSTR"
    return Line(await open_visa(resource), far, lambda: open_serial(device))


COMMANDS = load_command_set("scpi-1999-analyzer", Path("bench.toml"))


async def guarded_serial_line(stack: AsyncExitStack) -> Line:
    device, far = pseudo_terminal(stack)
    link = await open_guarded_serial(device, baud=115200, commands=COMMANDS)
    return Line(link, far, lambda: open_serial(device))


async def guarded_tcp_line(stack: AsyncExitStack) -> Line:
    listening = listener(stack)
    port = listening.getsockname()[1]
    link = await open_guarded_tcp("127.0.0.1", port, commands=COMMANDS)
    return Line(link, await accepted(listening, stack), lambda: open_tcp("127.0.0.1", port))


async def guarded_visa_line(stack: AsyncExitStack) -> Line:
    listening = listener(stack)
    resource = f"TCPIP0::127.0.0.1::{listening.getsockname()[1]}::SOCKET"
    link = await open_guarded_visa(resource, backend="@py", commands=COMMANDS)
    return Line(link, await accepted(listening, stack), lambda: open_visa(resource))


async def visa_simulated_line(tmp_path: Path) -> Line:
    definition = tmp_path / "parrot.yaml"
    definition.write_text(SimulatedEnd.DEVICE, encoding="utf-8")
    far = SimulatedEnd()
    far.link = await open_visa("ASRL1::INSTR", backend=f"{definition}@sim")
    return Line(far.link, far)


@asynccontextmanager
async def opened(kind: str, tmp_path: Path) -> AsyncIterator[Line]:
    async with AsyncExitStack() as stack:
        match kind:
            case "memory":
                line = memory_line()
            case "visa-sim":
                line = await visa_simulated_line(tmp_path)
            case "serial":
                line = await serial_line(stack)
            case "serial-thread":
                line = await serial_thread_line(stack)
            case "tcp":
                line = await tcp_line(stack)
            case "guarded-serial":
                line = await guarded_serial_line(stack)
            case "guarded-tcp":
                line = await guarded_tcp_line(stack)
            case "guarded-visa":
                line = await guarded_visa_line(stack)
            case "visa-socket":
                line = await visa_socket_line(stack)
            case _:
                line = await visa_serial_line(stack)
        stack.push_async_callback(line.link.aclose)
        yield line


KINDS = ("memory", "serial", "serial-thread", "tcp", "visa-socket", "visa-serial", "visa-sim")
GUARDED = ("guarded-serial", "guarded-tcp", "guarded-visa")


@pytest.fixture(params=(*KINDS, *GUARDED))
async def line(request: pytest.FixtureRequest, tmp_path: Path) -> AsyncIterator[Line]:
    async with opened(request.param, tmp_path) as line:
        yield line
