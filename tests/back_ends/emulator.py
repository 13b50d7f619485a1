"""The Fenwater Stilt 3, a bench meter, and the Dunlow Marrick 120 that it keys; both invented.

Nothing here comes from ohmwright. From the meter's manual:

    Each message is a line of JSON with a number of your own, `id`, which the reply repeats. A
    number is used once; the meter takes no message with the number of the one before, but 0.
    {"id": 7, "do": "name"}                  -> {"id": 7, "name": "Fenwater Stilt 3, no 0412"}
    {"id": 8, "do": "load", "ohm": 200}      -> {"id": 8, "ohm": 200}; without "ohm" it tells
    {"id": 9, "do": "close", "s": 20}        -> {"id": 9}; opens by itself after 20 s
    {"id": 0, "do": "open"}                  -> {"id": 0}
    {"id": 0, "do": "contact"}               -> {"id": 0, "contact": "open"} or "closed"
    {"id": 10, "do": "left"}                 -> {"id": 10, "s": 12.3}
    {"id": 11, "do": "read"}                 -> {"id": 11, "ma": 412.3, "n": 97}; 10 a second
    What cannot be done is answered by {"id": ..., "no": "why"}.

The generator's port takes the same lines: name, mode, power (`w`), service (`on`), point, trim
(`counts`), store.
"""

from __future__ import annotations

import json
import math
import socketserver
import threading
import time
from collections.abc import Callable
from typing import Any

LOADS = (50, 100, 200, 500, 1000)
PER_S, LAG_S = 10, 0.25


class Unit:
    """The generator: constant power between a current and a voltage limit, with one lag."""

    def __init__(self) -> None:
        self.mode, self.power_w, self.service, self.point = "cut", 10.0, False, ""
        self.trims = {"P1": 12, "P2": 3}
        self.stored = dict(self.trims)
        self.on_since: float | None = None
        self._amps, self._at = 0.0, 0.0

    def current_ma(self, ohm: float, now: float) -> float:
        """After the time since it was last asked for, in which nothing else was set."""
        if self.on_since is None:
            self._amps, self._at = 0.0, now
            return 0.0
        watts = 120.0 if self.service else self.power_w
        gain = 1 + 0.004 * (self.trims["P1"] if ohm <= 200 else self.trims["P2"])
        amps = min(0.8 * gain, math.sqrt(watts / ohm), 330 / ohm)
        self._amps += (amps - self._amps) * (1 - math.exp((self._at - now) / LAG_S))
        self._at = now
        return 1000 * self._amps


class Bench:
    """Meter and generator on one cable; `rf` is the truth."""

    def __init__(self, now: Callable[[], float] = time.monotonic) -> None:
        self.unit, self.ohm, self.ends, self.last = Unit(), 50.0, 0.0, {"meter": -1, "unit": -1}
        self.lock, self.now, self.born = threading.Lock(), now, now()
        self.taken: dict[str, float] = {"n": -1}

    @property
    def rf(self) -> bool:
        with self.lock:
            return self._closed()

    def _closed(self) -> bool:
        if self.unit.on_since is not None and self.now() > self.ends:
            self.unit.on_since = None
        return self.unit.on_since is not None

    def meter(self, said: dict[str, Any]) -> dict[str, Any]:
        now = self.now()
        match said.get("do"):
            case "name":
                return {"name": "Fenwater Stilt 3, no 0412"}
            case "load":
                if said.get("ohm", 50) not in LOADS:
                    return {"no": "no such load"}
                self.ohm = said.get("ohm", self.ohm)
                return {"ohm": self.ohm}
            case "close":
                self.unit.on_since, self.ends = now, now + said["s"]
                return {}
            case "open":
                self.unit.on_since = None
                return {}
            case "contact":
                return {"contact": "closed" if self._closed() else "open"}
            case "left":
                return {"s": round(self.ends - now, 3) if self._closed() else 0}
            case "read":
                self._closed()
                n = int((now - self.born) * PER_S)
                if n != self.taken["n"]:
                    ma = self.unit.current_ma(self.ohm, now) * (1 + 0.0004 * math.sin(n * 1.7))
                    self.taken = {"ma": round(ma, 1), "n": n}
                return self.taken
        return {"no": "not understood"}

    def generator(self, said: dict[str, Any]) -> dict[str, Any]:
        unit, do = self.unit, said.get("do")
        if do == "name":
            return {"name": "Dunlow Marrick 120, no 77"}
        if do == "store":
            unit.stored = dict(unit.trims)
            return {}
        if do == "mode":
            unit.mode = said.get("mode", unit.mode)
            return {"mode": unit.mode}
        if do == "power":
            unit.power_w = said.get("w", unit.power_w)
            return {"w": unit.power_w}
        if do == "service":
            unit.service = said["on"]
            if not unit.service:
                unit.trims = dict(unit.stored)
            return {}
        if do == "point":
            unit.point = said["point"]
            return {}
        if do == "trim":
            unit.trims[unit.point] = said.get("counts", unit.trims[unit.point])
            return {"counts": unit.trims[unit.point]}
        return {"no": "not understood"}

    def answer(self, who: str, line: bytes) -> bytes:
        self.unit.current_ma(self.ohm, self.now())
        try:
            said = json.loads(line)
        except ValueError:  # an empty line, or one that was broken off
            return b""
        with self.lock:
            if said["id"] == self.last[who] != 0:
                return b'{"no": "used"}\n'
            self.last[who] = said["id"]
            reply = self.meter(said) if who == "meter" else self.generator(said)
        return json.dumps({"id": said["id"], **reply}).encode() + b"\n"


class Served:
    """The bench on two TCP ports of this computer, until `close`."""

    def __init__(self) -> None:
        self.bench = Bench()
        self._servers = [self._serve(who) for who in ("meter", "unit")]
        self.ports = [server.server_address[1] for server in self._servers]

    def _serve(self, who: str) -> socketserver.ThreadingTCPServer:
        bench = self.bench

        class Handler(socketserver.StreamRequestHandler):
            def handle(self) -> None:
                for line in self.rfile:
                    self.wfile.write(bench.answer(who, line))

        socketserver.ThreadingTCPServer.daemon_threads = True
        server = socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler)
        threading.Thread(target=server.serve_forever, daemon=True).start()
        return server

    def close(self) -> None:
        for server in self._servers:
            server.shutdown()
            server.server_close()
