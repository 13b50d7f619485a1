"""A guard believes no reply that was on its way before it asked, in time that a test tells."""

from itertools import count

import pytest

from ohmwright.wire.guard import process
from ohmwright.wire.guard.orders import ReleaseOrders
from ohmwright.wire.guard.process import Guard


class Late:
    """A port whose instrument stays on, with old replies of 0 still on their way at each OFF."""

    def __init__(self, late: int, state: bytes) -> None:
        self._late, self._state = late, state
        self._due: list[bytes] = []
        self.written: list[bytes] = []

    def fileno(self) -> int | None:
        return None

    def write(self, data: bytes) -> None:
        self.written.append(data)
        self._due += [b"0\n"] * self._late if data == b"OFF\n" else [self._state]

    def read(self) -> bytes:
        return self._due.pop(0) if self._due else b""


@pytest.mark.parametrize(
    ("late", "state", "off"),
    [(0, b"0\n", True), (2, b"0\n", True), (1, b"1\n", False), (2, b"1\n", False)],
)
def test_a_late_reply_is_no_read_back(
    monkeypatch: pytest.MonkeyPatch, late: int, state: bytes, off: bool
) -> None:
    time_s = count()
    monkeypatch.setattr(process, "elapsed_s", lambda: 0.01 * next(time_s))
    port = Late(late, state)
    guard = Guard(None, port, ReleaseOrders(b"OFF\n", b"STATE?\n"))  # type: ignore[arg-type]
    assert guard.release() is off
    assert port.written[0] == b"OFF\n"
