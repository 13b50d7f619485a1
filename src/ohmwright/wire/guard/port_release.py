"""Sends OFF to the instrument on a guard's port, and reads back that the output is off."""

from __future__ import annotations

import select
from contextlib import suppress
from dataclasses import dataclass

from ohmwright.wire.machine_time import elapsed_s

from .current_orders import CurrentOrders
from .orders import ReleaseOrders
from .ports import BlockingPort

_LOOK_S = 0.02
"""Longest time of one look for bytes."""
QUIET_S = 0.15
"""After this silence in seconds no late reply is on the line."""
_PAUSES_AT_MOST = 4
_TRIES = 20
"""How often OFF is sent while the output does not read off."""


@dataclass
class PortRelease:
    """A port, and what the guard is told of releasing the output of the instrument on it."""

    port: BlockingPort
    orders: ReleaseOrders
    current: CurrentOrders | None = None
    """How to see whether a current flows after OFF; None where the guard cannot."""
    _busy_s: float = 0.0
    """When the last byte passed to or from the port."""

    def read(self) -> bytes:
        """The bytes that have come; empty where none have."""
        data = self.port.read()
        if data:
            self._busy_s = elapsed_s()
        return data

    def write(self, data: bytes) -> None:
        """Send all of `data`. Raises TimeoutError where it is not taken in time."""
        try:
            self.port.write(data)
        finally:
            self._busy_s = elapsed_s()

    def switch_off(self) -> bool:
        """Send OFF and read the output back; whether it read off twice in a row."""
        for tries in range(_TRIES):
            try:
                self._write_off(() if tries == 0 else self.orders.opening)
                if self._reads_off() and self._reads_off():
                    return True
            except TimeoutError:
                continue
            except OSError:
                return False
        return False

    def end_for_good(self) -> bool:
        """Release the output for an engine that is gone; whether it read off, and no current."""
        if not self.switch_off() or self.current_stays():
            return False
        with suppress(OSError):
            for message in self.orders.closing:
                self._write_paused(message)
        return True

    def current_stays(self) -> bool:
        """Whether the meter shows a current when one that had gone with OFF would have faded.

        OFF is sent again meanwhile. A meter that says nothing says nothing of RF.
        """
        if self.current is None:
            return False
        flows, end_s = True, elapsed_s() + self.current.fades_s
        with suppress(OSError):
            while flows and elapsed_s() < end_s:
                flows = bool(self._reads_current(self.current))
                if flows:
                    self._write_off(())
        return flows

    def _reads_current(self, current: CurrentOrders) -> bool | None:
        """Whether the meter says, in a whole reply, that a current flows; None without one."""
        self._drop(QUIET_S)
        self._write_paused(current.question)
        heard, end_s = b"", elapsed_s() + self.orders.timeout_s
        while elapsed_s() < end_s:
            heard += self._heard()
            if not heard.startswith(current.echo):
                continue
            if (found := self.orders.reply.split(heard[len(current.echo) :])) is not None:
                with suppress(ValueError):
                    return current.flows(self.orders.reply.open(found[0]))
                return None
        return None

    def _write_off(self, opening: tuple[bytes, ...]) -> None:
        """Send OFF; first end what the engine may have left unfinished, then open anew."""
        orders = self.orders
        if orders.pause_s or opening:
            for message in (orders.unfinished, *opening, orders.off):
                self._write_paused(message)
        else:
            self.port.write(orders.unfinished + orders.off)

    def _write_paused(self, message: bytes) -> None:
        """Write `message`, where it has bytes, after the pause that the instrument needs."""
        if not message:
            return
        for _ in range(_PAUSES_AT_MOST):  # a late reply makes the pause begin anew
            self._drop(self._busy_s + self.orders.pause_s - elapsed_s())
        self.port.write(message)
        self._busy_s = elapsed_s()

    def _reads_off(self) -> bool:
        """Whether the instrument says, in a whole reply and nothing else, that it is off."""
        self._drop(QUIET_S)
        self._write_paused(self.orders.question)
        try:
            return self._says_off(elapsed_s() + self.orders.timeout_s)
        except ValueError:
            return False

    def _says_off(self, end_s: float) -> bool:
        """Whether the state that is said until `end_s` is off. Raises ValueError for nonsense."""
        orders, heard, echo = self.orders, b"", self.orders.echo
        is_cut = orders.streamed
        while elapsed_s() < end_s:
            heard += self._heard()
            if not orders.streamed and not echo.startswith(heard[: len(echo)]):
                return False
            if (found := orders.reply.split(heard[len(echo) :])) is None:
                continue
            (frame, heard), echo = found, b""  # the echo comes once
            if is_cut:  # a line may have been under way
                is_cut = False
                continue
            off = orders.says_off(orders.reply.open(frame))
            if off is not None or not orders.streamed:
                return bool(off) and (orders.streamed or not heard)
        return False

    def _drop(self, for_s: float) -> None:
        """Throw away what comes within `for_s` seconds."""
        end_s = elapsed_s() + for_s
        while elapsed_s() < end_s:
            self._heard(end_s - elapsed_s())

    def _heard(self, at_most_s: float = _LOOK_S) -> bytes:
        """What comes within a moment."""
        number = self.port.fileno()
        if number is not None:
            select.select([number], [], [], min(_LOOK_S, max(0.0, at_most_s)))
        return self.read()
