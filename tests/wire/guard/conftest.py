"""An instrument that a guard releases, as a port without a descriptor."""

import pytest

from ohmwright.wire.guard import port_release
from ohmwright.wire.guard.orders import ReleaseOrders


class Analyzer:
    """Answers each question for the state with the next of `replies`; on again, if need be."""

    def __init__(self, *replies: bytes) -> None:
        self.replies, self.written, self._answer = list(replies), list[bytes](), b""

    def fileno(self) -> None:
        return None

    def write(self, data: bytes) -> None:
        self.written.append(data)
        if data == b"STATE?\n":
            self._answer = self.replies.pop(0) if self.replies else b""

    def read(self) -> bytes:
        answer, self._answer = self._answer, b""
        return answer


ORDERS = ReleaseOrders(b"\nOFF\n", b"STATE?\n", timeout_s=0.01)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(port_release, "QUIET_S", 0.01)
