"""A simulated bench on TCP sockets, one for each of its ports."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AsyncExitStack

import anyio
from anyio.abc import SocketAttribute, SocketStream

from ohmwright.model.bench_file import TcpAddress
from ohmwright.wire.loopback import LOOPBACK

from .bench import SimulatedBench
from .bench_ports import LineServer, PortAddresses, PortHandler, port_handlers

_SEND_BOUND_S = 5.0
"""A client that takes nothing for this long is hung up on."""


async def serve_tcp(
    bench: SimulatedBench,
    announce: Callable[[PortAddresses], None],
    *,
    host: str = LOOPBACK,
    control_host: str = LOOPBACK,
) -> None:
    """Serve until cancelled, on ports that the system chooses; `announce` gets their addresses.

    `host` is for the instruments, `control_host` for the port that moves time and tells the truth;
    by default only this machine can reach them. Clients may come, vanish and come back.
    """
    async with AsyncExitStack() as stack, anyio.create_task_group() as tasks:
        addresses = {}
        for name, handle in port_handlers(bench).items():
            where = control_host if name == "control" else host
            listener = await anyio.create_tcp_listener(local_host=where, local_port=0)
            await stack.enter_async_context(listener)
            port = listener.extra(SocketAttribute.local_port)
            addresses[name] = TcpAddress(kind="tcp", host=where, port=port)
            tasks.start_soon(listener.serve, _answering(handle))
        announce(PortAddresses(**addresses))


def _answering(handle: PortHandler) -> Callable[[SocketStream], object]:
    async def answer(stream: SocketStream) -> None:
        lines = LineServer(handle)
        async with stream:
            try:
                while True:
                    replies = lines.feed(await stream.receive())
                    with anyio.fail_after(_SEND_BOUND_S):
                        await stream.send(replies)
            except (anyio.EndOfStream, anyio.BrokenResourceError, TimeoutError, ConnectionError):
                return  # gone, slow, or (a ConnectionError of the handler) unplugged by a fault

    return answer
