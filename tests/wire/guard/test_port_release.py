"""A guard's release: what it sends, and which replies it takes for off."""

from dataclasses import replace
from itertools import count

import pytest

from ohmwright.wire.guard import port_release
from ohmwright.wire.guard.orders import ReleaseOrders
from ohmwright.wire.guard.port_release import PortRelease

from .conftest import ORDERS, Analyzer


@pytest.mark.parametrize(
    ("replies", "offs"),
    [
        ([b"0\n", b"0\n"], 1),
        ([b"1\n", b"0\n", b"0\n"], 2),
        ([b"0\n", b"1\n", b"0\n", b"0\n"], 2),  # one reply may be damaged
        ([b"0\n", b"", b"0\n", b"0\n"], 2),
        ([b"0\n", b"?\n", b"+0.0E0\n", b"0\n"], 2),
        ([b"2\n", b"0\n", b"0\n"], 2),
    ],
)
def test_it_says_off_when_two_replies_in_a_row_say_so(
    quick: None, replies: list[bytes], offs: int
) -> None:
    port = Analyzer(*replies)
    assert PortRelease(port, ORDERS).switch_off()
    assert port.replies == []
    assert port.written[0] == ORDERS.off
    assert port.written.count(ORDERS.off) == offs


@pytest.mark.parametrize("replies", [[], [b"1\n"] * 99, [b"0\n", b"1\n"] * 50, [b"0\n1\n"] * 99])
def test_it_does_not_say_off_on_any_other_word(quick: None, replies: list[bytes]) -> None:
    assert not PortRelease(Analyzer(*replies), ORDERS).switch_off()


def test_off_that_was_not_taken_in_time_is_sent_again(quick: None) -> None:
    class Slow(Analyzer):
        """Takes nothing at first."""

        refused = 0

        def write(self, data: bytes) -> None:
            if self.refused < 3:
                self.refused += 1
                raise TimeoutError
            super().write(data)

    port = Slow(b"0\n", b"0\n")
    assert PortRelease(port, ORDERS).switch_off()
    assert port.written[0] == ORDERS.off


def test_the_end_of_a_line_that_was_under_way_says_nothing(quick: None) -> None:
    """Would notice an output at 10 mA that reads off by the last digit of a line in a stream."""
    port = Analyzer(*[b"0\n10\n"] * 99)
    assert not PortRelease(port, replace(ORDERS, streamed=True)).switch_off()


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
    monkeypatch.setattr(port_release, "elapsed_s", lambda: 0.01 * next(time_s))
    port = Late(late, state)
    release = PortRelease(port, ReleaseOrders(b"OFF\n", b"STATE?\n"))
    assert release.switch_off() is off
    assert port.written[0] == b"OFF\n"
