"""Opening TCP connections: what is said when it does not work."""

import socket

import pytest

from ohmwright.model.errors import LinkError
from ohmwright.wire.addresses import tcp_keys
from ohmwright.wire.links import tcp
from ohmwright.wire.links.tcp import open_tcp
from ohmwright.wire.portlock import PortLock

pytestmark = pytest.mark.anyio


def unused_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as listening:
        return int(listening.getsockname()[1])


async def test_nobody_listens() -> None:
    port = unused_port()
    with pytest.raises(LinkError, match=r"refused.*Check address and port"):
        await open_tcp("127.0.0.1", port)
    PortLock("port", await tcp_keys("127.0.0.1", port)).release()


async def test_a_host_without_an_address() -> None:
    with pytest.raises(LinkError, match="could not be opened"):
        await open_tcp("no-such-host.invalid", 5025)


async def test_a_host_that_does_not_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tcp, "OPEN_TIMEOUT_S", 0.1)
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen(0)
        address = listening.getsockname()
        waiting = [socket.socket() for _ in range(3)]  # fill the queue of connections
        for one in waiting:
            one.setblocking(False)
            one.connect_ex(address)
        with pytest.raises(LinkError, match=r"nobody answered within 0\.1 s"):
            await open_tcp(*address)
        for one in waiting:
            one.close()
