"""Closes the page while a browser connects, at each lap of the event loop that accepting takes."""

import gc
import socket
import sys
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlsplit

import anyio
import anyio.lowlevel
import pytest

from ohmwright.page.site import PageSettings, serve
from ohmwright.wire.clock import RealClock

from .conftest import page_settings

LAPS = range(6)


async def _close_while_one_connects(settings: PageSettings, laps: int) -> socket.socket:
    """Return the client's end of a connection that came `laps` before the page was closed."""
    addresses: list[str] = []
    async with anyio.create_task_group() as tasks:
        tasks.start_soon(serve, settings, addresses.append, lambda problem: problem)
        while not addresses:
            await anyio.lowlevel.checkpoint()
        await RealClock().sleep(0.2)  # until the server listens
        site = urlsplit(addresses[0])
        client = socket.create_connection((site.hostname, site.port), timeout=5.0)
        for _ in range(laps):
            await anyio.lowlevel.checkpoint()
        tasks.cancel_scope.cancel()
    return client


@pytest.mark.parametrize("laps", LAPS)
def test_a_connection_that_comes_while_the_page_closes_is_closed(tmp_path: Path, laps: int) -> None:
    """What is left open is told by a ResourceWarning, which fails the test."""
    with anyio.run(_close_while_one_connects, page_settings(tmp_path), laps) as client:
        gc.unfreeze()
        gc.collect()
        with suppress(ConnectionResetError):  # never accepted, and told so
            assert client.recv(1) == b""


def test_it_is_served_where_standard_output_is_closed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "stdout", None)
    monkeypatch.setattr(sys, "stderr", None)
    with anyio.run(_close_while_one_connects, page_settings(tmp_path), 0) as client:
        assert client.getsockname()[1] > 0  # it was connected
