"""The guard's process: relays bytes between engine and port, and sends OFF when it must.

Started with one line of JSON on standard input, which gives the port, the bytes of OFF and how to
read the output back. While the engine has it watch, it sends OFF when the engine's socket ends,
when frames stay away longer than promised, and when it is told to stop. Without a watch it sends
nothing of its own: the instrument may not be the analyzer at all.
"""

from __future__ import annotations

import json
import os
import select
import signal
import socket
import sys
import threading
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, NoReturn

from ohmwright.wire.machine_priority import run_before_others
from ohmwright.wire.machine_time import elapsed_s

from .current_orders import CurrentOrders
from .frames import ACKNOWLEDGED, DATA, FAILED, PING, READY, TRIPPED, WATCH, Unpacker, pack
from .orders import ReleaseOrders
from .port_release import PortRelease
from .ports import open_port

POLL_S = 0.02
"""While a watch is kept: a sleep of the machine is seen so soon after its end."""
_ENGINE_BOUND_S = 1.0
"""How long a frame may take to reach the engine."""
_ANSWERS_WITHIN_S = 1.0
"""How long an engine that is told of a trip may take to answer before it is said to hang."""
_AWAKE_S = 0.0003
"""Seconds of polling after a message: they come in bursts, and waking up costs time."""


@dataclass
class Guard:
    """Relays between one engine and one port, and has the output released when it must be."""

    engine: socket.socket
    release: PortRelease
    stopped: bool = False
    deserted: bool = False
    """Whether the engine is gone, so that only the guard can warn a person."""
    _sequence: int = 0
    _every_s: float | None = None
    """Longest time from frame to frame that the engine has promised; None without a watch."""
    _due_s: float = 0.0
    """When the next frame is due."""
    _tripped: bool = False
    _awake_until_s: float = 0.0
    woken: socket.socket | None = None
    """Gets a byte for each signal, which wakes a guard that waits without end."""
    _frames: Unpacker = field(default_factory=Unpacker)

    def run(self) -> bool:
        """Relay until stopped; whether the output then reads off, or is not under watch."""
        self.engine.settimeout(_ENGINE_BOUND_S)
        self._send(READY)
        try:
            while not self.stopped:
                self._relay_once()
        except OSError as problem:
            self._send(FAILED, failure("LinkLost", problem))
        return self._every_s is None or self.release.end_for_good()

    def _relay_once(self) -> None:
        number = self.release.port.fileno()
        watched = [one for one in (self.engine, number, self.woken) if one is not None]
        ready = select.select(watched, [], [], self._patience_s(number))[0]
        # before the frames: what waited while this process or the machine stood still came too late
        if self._every_s is not None and not self._tripped and elapsed_s() > self._due_s:
            self._trip()
        if self.engine in ready:
            self._from_engine()
        if (number is None or number in ready) and (data := self.release.read()):
            self._send(DATA, data)
        if ready:
            self._awake_until_s = elapsed_s() + _AWAKE_S

    def _patience_s(self, number: int | None) -> float | None:
        """How long to wait for bytes; None: until they come."""
        if number is None or elapsed_s() < self._awake_until_s:
            return 0.0  # a port without a descriptor waits in its own read
        return None if self._every_s is None or self._tripped else POLL_S

    def _from_engine(self) -> None:
        try:
            data = self.engine.recv(65536)
        except OSError:
            data = b""
        if not data:
            self.stopped = self.deserted = True
        for kind, sequence, body in self._frames.feed(data):
            if sequence != self._sequence:  # frames were lost: the engine is not whole
                self.stopped = True
                return
            self._sequence = (sequence + 1) & 0xFFFFFFFF
            self._execute(kind, body)
        if self._every_s is not None:
            self._due_s = elapsed_s() + self._every_s

    def _execute(self, kind: bytes, body: bytes) -> None:
        if kind == ACKNOWLEDGED:
            self._tripped = False
        elif kind == PING:
            self._send(PING)
        elif kind == WATCH:
            self._every_s = float(body) if body else None
        elif kind == DATA and not self._tripped:
            try:
                self.release.write(body)
            except TimeoutError as problem:
                self._send(FAILED, failure("LinkTimeout", problem))

    def _trip(self) -> None:
        """Release the output; nothing of the engine's passes until it acknowledges that.

        An engine that then says nothing warns nobody either.
        """
        self._tripped = True
        off = self.release.switch_off()
        self._send(TRIPPED, b"1" if off else b"0")
        hangs = not select.select([self.engine], [], [], _ANSWERS_WITHIN_S)[0]
        if hangs and (not off or self.release.current_stays()):
            # aside: neither a message box nor a stopped terminal may hold up the guard
            threading.Thread(target=warn, args=(HANGS_WARNING,), daemon=True).start()

    def _send(self, kind: bytes, data: bytes = b"") -> None:
        try:
            self.engine.sendall(pack(kind, 0, data))
        except OSError:  # it is gone, or takes nothing any more: no difference
            self.stopped = self.deserted = True


def failure(kind: str, problem: OSError) -> bytes:
    """The body of a FAILED frame: error class `kind`, the system's error number, its text."""
    number = "" if problem.errno is None else str(problem.errno)
    return f"{kind}\n{number}\n{problem.strerror or problem}".encode()


def main() -> NoReturn:
    """Read the configuration from standard input, open the port, run the guard, end the process."""
    run_before_others()
    config = json.loads(sys.stdin.buffer.readline())
    engine = _engine_socket(config)
    try:
        port = open_port(**config["port"])
    except OSError as problem:
        with suppress(OSError):  # the engine may be gone
            engine.sendall(pack(FAILED, 0, failure("LinkError", problem)))
        os._exit(3)
    current = config["current"]
    release = PortRelease(
        port,
        ReleaseOrders.from_json(config["release"]),
        None if current is None else CurrentOrders.from_json(current),
    )
    guard = Guard(engine, release)
    guard.woken = _woken_by_signals()
    for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda *_: setattr(guard, "stopped", True))
    off = guard.run()
    if not off and guard.deserted:
        warn(RF_WARNING)
    os._exit(0 if off else 5)


def _woken_by_signals() -> socket.socket:
    """A socket that gets a byte for each signal that is handled."""
    ours, theirs = socket.socketpair()
    theirs.setblocking(False)
    signal.set_wakeup_fd(theirs.detach(), warn_on_full_buffer=False)
    return ours


def warn(words: str) -> None:
    """Tell a person, who may have no other program left that does."""
    if sys.platform == "win32":  # the guard has no console there
        import ctypes

        ctypes.windll.user32.MessageBoxW(None, words, "ohmwright", 0x00040010)
        return
    with suppress(OSError):  # the terminal may have gone, too
        sys.stderr.write("\a" + words)
        sys.stderr.flush()


RF_WARNING = """
**********************************************************
* RF MAY STILL BE ON: ohmwright has ended and its guard  *
* could not read the output back as off.                 *
* Do not touch the electrodes or the load terminals.     *
* SWITCH THE GENERATOR OFF AT ITS MAINS SWITCH NOW.      *
**********************************************************
"""
HANGS_WARNING = RF_WARNING.replace("has ended and its guard ", "hangs, and its guard    ")


def _engine_socket(config: dict[str, Any]) -> socket.socket:
    """The socket to the engine: an inherited descriptor, or a shared socket on Windows."""
    if "shared" in config:
        shared: socket.socket = socket.fromshare(bytes.fromhex(config["shared"]))  # type: ignore[attr-defined,unused-ignore]
        return shared
    return socket.socket(fileno=config["descriptor"])


if __name__ == "__main__":
    main()
