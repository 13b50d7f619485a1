"""The serial port of an invented instrument: a pseudo-terminal worked by a thread."""

from __future__ import annotations

import os
import select
import threading
import time
import tty
from types import TracebackType


class Port(threading.Thread):
    """Hands bytes to `hear`, calls `tick` now and then, and sends what `say` is given.

    `character_s`: what a character takes on the line, 10 bits at the baud rate of the port; 0 is a
    line without delay.
    """

    def __init__(self, character_s: float = 0.0) -> None:
        super().__init__(daemon=True)
        self._master = self._slave = -1
        self.character_s, self._stopped = character_s, False

    def hear(self, data: bytes) -> None:
        """Take bytes from the line."""
        raise NotImplementedError

    def tick(self) -> None:
        """Do what is due; called at least every 10 ms."""

    def say(self, data: bytes) -> None:
        """Send bytes, as slowly as the line is."""
        time.sleep(self.character_s * len(data))
        os.write(self._master, data)

    def run(self) -> None:
        """Work the port until `stop`."""
        while not self._stopped:
            if select.select([self._master], [], [], 0.01)[0]:
                data = os.read(self._master, 4096)
                time.sleep(self.character_s * len(data))
                self.hear(data)
            self.tick()

    def __enter__(self) -> str:
        """Open the pseudo-terminal, whose name this returns; in virtual time there is none."""
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.start()
        return os.ttyname(self._slave)

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._stopped = True
        self.join()
        os.close(self._master)
        os.close(self._slave)
