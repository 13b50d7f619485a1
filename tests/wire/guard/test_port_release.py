"""A guard's release: what it sends, and which replies it takes for off."""

from dataclasses import replace
from itertools import count

import pytest

from ohmwright.wire.frame_layout import FrameLayout
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


def test_the_first_off_goes_before_any_opening_message(quick: None) -> None:
    """Would notice OFF that waits for messages which only an instrument out of control needs."""
    port = Analyzer(b"1\n", b"0\n", b"0\n")
    orders = replace(ORDERS, opening=(b"REMOTE\n",))
    assert PortRelease(port, orders).switch_off()
    assert port.written == [
        ORDERS.off,
        *(ORDERS.question, b"REMOTE\n", ORDERS.off),
        *(ORDERS.question, ORDERS.question),
    ]


def test_bytes_that_were_changed_say_nothing(quick: None) -> None:
    """Would notice an output that reads off by a reply whose checksum is wrong."""
    reply = FrameLayout(checksum="sum8")
    good = reply.wrap(b"0")
    changed = good.replace(b"0", b"1", 1)
    orders = replace(ORDERS, reply=reply)
    assert PortRelease(Analyzer(good, good), orders).switch_off()
    assert not PortRelease(Analyzer(*[changed] * 99), orders).switch_off()


def test_what_follows_the_echo_of_another_message_says_nothing(quick: None) -> None:
    orders = replace(ORDERS, echo=ORDERS.question)
    assert PortRelease(Analyzer(*[b"STATE?\n0\n"] * 2), orders).switch_off()
    assert not PortRelease(Analyzer(*[b"LOADS?\n0\n"] * 99), orders).switch_off()


def test_the_echo_comes_before_the_first_line_of_a_stream_alone(quick: None) -> None:
    orders = replace(ORDERS, echo=ORDERS.question, streamed=True)
    assert PortRelease(Analyzer(*[b"STATE?\nut line\n0\n"] * 2), orders).switch_off()


class Timed(Analyzer):
    """Notes how long it was silent before each message, and takes 0.1 s to answer.

    Each look at the clock takes 1 ms.
    """

    def __init__(self, *replies: bytes) -> None:
        super().__init__(*replies)
        self._now_s = self._busy_s = 1.0
        self.silent_s = list[float]()

    def elapsed_s(self) -> float:
        self._now_s += 0.001
        return self._now_s

    def write(self, data: bytes) -> None:
        self.silent_s.append(self._now_s - self._busy_s)
        self._busy_s = self._now_s
        super().write(data)

    def read(self) -> bytes:
        if self._now_s < self._busy_s + 0.1 or not self._answer:
            return b""
        self._busy_s = self._now_s
        return super().read()


def test_an_instrument_has_its_silence_before_each_message(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would notice OFF, or what undoes remote control, sent while it is not listening yet."""
    port, pause_s = Timed(b"1\n", b"0\n", b"0\n"), 0.5
    monkeypatch.setattr(port_release, "elapsed_s", port.elapsed_s)
    closing = b"KEYS\n", b"LOCAL\n"
    orders = replace(ORDERS, unfinished=b"\n", pause_s=pause_s, closing=closing, timeout_s=1.0)
    release = PortRelease(port, orders)
    release.write(b"LOAD 300\n")  # the engine's last message
    assert release.end_for_good()
    assert port.written[-2:] == [*closing]
    assert min(port.silent_s[1:]) >= pause_s


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
