"""The Windows way of handing the socket over, as far as it can be seen elsewhere."""

import os
import socket
import subprocess
import sys
from typing import Any

import pytest

from ohmwright.wire.guard import launcher, process


class Shareable:
    """A socket of Windows, which a process is given by its number."""

    def share(self, pid: int) -> bytes:
        return f"for {pid}".encode()


def test_the_engine_shares_its_socket_with_the_guard(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "name", "nt")
    ours: Any = Shareable()
    assert launcher._handed_over(ours, 77) == {"shared": b"for 77".hex()}


def test_the_guard_takes_the_shared_socket(monkeypatch: pytest.MonkeyPatch) -> None:
    taken: list[bytes] = []
    monkeypatch.setattr(socket, "fromshare", taken.append, raising=False)
    process._engine_socket({"shared": b"for 77".hex()})
    assert taken == [b"for 77"]


def test_the_guard_is_out_of_reach_of_the_console_s_interrupt(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 512, raising=False)
    nobody: Any = None
    assert launcher._own_session(nobody, nobody) == {"creationflags": 512}
