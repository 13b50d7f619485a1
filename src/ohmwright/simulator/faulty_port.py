"""A port of a simulated instrument with a fault between it and whoever uses it."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from .distortions import DISTORTIONS, Distortion
from .faults import MASQUERADE, LineFault, Way

Port = Callable[[bytes], bytes]


class FaultyPort:
    """Counts messages from 1 and hands them to `port`, distorted as `fault` says.

    A fault of a reply strikes the first reply at or after its number. `other` is the port of the
    instrument that answers in a masquerade.
    """

    def __init__(
        self,
        port: Port,
        fault: LineFault | None = None,
        *,
        other: Port | None = None,
        seed: int = 0,
    ) -> None:
        self._port, self._other, self._seed = port, other, seed
        self._unfinished = b""
        self._last: dict[Way, bytes] = {}
        self._earlier: dict[Way, bytes] = {}
        self.count = 0
        self.arm(fault)

    def arm(self, fault: LineFault | None) -> None:
        """Let `fault` take effect from now on."""
        self._fault, self._struck = fault, False
        draws = Random(f"{self._seed} {fault and fault.what}")
        kind = Distortion if fault is None else DISTORTIONS.get(fault.kind, Distortion)
        self._distortion = kind(draws)

    def __call__(self, line: bytes) -> bytes:
        """Carry out `line`; the reply as it arrives."""
        self.count += 1
        arriving = self._passed("message", [line])
        *lines, self._unfinished = (self._unfinished + b"".join(arriving)).split(b"\n")
        replies = [reply for each in lines if (reply := self._answer(each + b"\n"))]
        return b"".join(self._passed("reply", replies))

    def _passed(self, way: Way, pieces: list[bytes]) -> list[bytes]:
        fault = self._fault
        mine = fault is not None and fault.way == way and fault.kind != MASQUERADE
        arriving: list[bytes] = []
        for piece in pieces:
            self._remember(way, piece)
            arriving += self._arriving(way, piece) if mine else [piece]
        return arriving

    def _arriving(self, way: Way, piece: bytes) -> list[bytes]:
        distortion = self._distortion
        distortion.earlier = self._earlier.get(way, distortion.earlier)
        return distortion.distort(piece) if self._strikes() else distortion.pass_on(piece)

    def _remember(self, way: Way, piece: bytes) -> None:
        last = self._last.get(way, piece)
        if piece != last:
            self._earlier[way] = last
        self._last[way] = piece

    def _strikes(self) -> bool:
        fault = self._fault
        if fault is None or self.count < fault.at or (fault.when == "once" and self._struck):
            return False
        self._struck = True
        return True

    def _answer(self, line: bytes) -> bytes:
        fault = self._fault
        if fault is None or fault.kind != MASQUERADE or self._other is None:
            return self._port(line)
        if not self._strikes():
            return self._port(line)
        if fault.way == "reply":
            self._port(line)
        return self._other(line)
