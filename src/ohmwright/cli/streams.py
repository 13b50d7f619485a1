"""Standard output and error that hold nothing up: not a release, not a record, not the exit.

A terminal that is held (Ctrl-S) and a pipe that nobody reads take no more bytes, and a write to
them would wait for ever, perhaps with RF on. So a thread of each stream does the waiting. Nor may
a run or its exit code depend on whether somebody still sees it: where the reader is gone the
rest is dropped. But what was asked for and has no room, as on a full disk, is an error.
"""

from __future__ import annotations

import errno
import select
import sys
from collections import deque
from contextlib import suppress
from io import RawIOBase
from threading import Condition, Thread
from typing import Any, TextIO, cast

from ohmwright.model.errors import OhmwrightError, UsageError

from .lettering import PLAINER, write_plainer

_READER_GONE = (errno.EPIPE, errno.EIO, errno.EINVAL)
"""A pipe that ended, a terminal that was closed, and a pipe that ended on Windows."""
_SHOWN_WITHIN_S = 0.25
"""So long whoever prints waits to see it shown; once that was in vain, no more until it is."""
_AFTER_STOP_S = 2.0
"""So long the exit waits for what is still to be shown, once a signal has asked for a stop."""
_MOST_UNSEEN = 200_000
"""Bytes of progress that are kept for a reader who does not take them; the oldest go first."""

_hurried = False


def hurry() -> None:
    """A stop was asked for: from now on nobody waits long for a reader. Safe in a signal."""
    global _hurried
    _hurried = True


class Shown:
    """A stream whose `write` and `flush` return at once or soon, whatever its reader does."""

    keeps_all = False

    def __init__(self, stream: TextIO, raw: RawIOBase) -> None:
        self._stream, self._raw = stream, raw
        self._pending: deque[bytes] = deque()
        self._turn = Condition()
        self._stalled = False
        self.lost: OSError | None = None
        self._writer = Thread(target=self._write_on, daemon=True, name="shown")

    def write(self, text: str) -> int:
        """Have `text` shown in its turn."""
        if text != "":  # click writes nothing, to see what it is
            ending = text.replace("\n", "\r\n") if sys.platform == "win32" else text
            self._add(ending.encode(self._stream.encoding, PLAINER))
        return len(text)

    def flush(self) -> None:
        """Wait until all is shown, but not for a reader who takes nothing."""
        if sys.is_finalizing():  # the writer is gone, and may have taken the lock with it
            return
        with self._turn:
            if not self._stalled:
                self._stalled = not self._turn.wait_for(self._done, _SHOWN_WITHIN_S)

    def drain(self) -> None:
        """Wait until all is shown; after a stop, for a short time only."""
        with self._turn:
            while not self._done() and not _hurried:
                self._turn.wait(_SHOWN_WITHIN_S)
            self._turn.wait_for(self._done, _AFTER_STOP_S)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def _add(self, data: bytes) -> None:
        with self._turn:
            if self.lost is not None:
                return
            self._pending.append(data)
            while not self.keeps_all and self._too_many():
                del self._pending[1]  # the first is being written
            if not self._writer.is_alive():
                self._writer.start()
            self._turn.notify_all()

    def _too_many(self) -> bool:
        return len(self._pending) > 2 and sum(map(len, self._pending)) > _MOST_UNSEEN

    def _done(self) -> bool:
        return not self._pending or self.lost is not None

    def _write_on(self) -> None:
        while self.lost is None:
            with self._turn:
                self._turn.wait_for(lambda: bool(self._pending))
                data = self._pending[0]
            problem = self._written(data)
            with self._turn:
                self.lost = problem
                self._pending.popleft()
                self._stalled = False
                self._turn.notify_all()

    def _written(self, data: bytes) -> OSError | None:
        left = memoryview(data)
        try:
            while left:
                count = self._raw.write(left)
                if count is None:  # whoever started us has made it one that does not wait
                    select.select([], [self._raw], [], _SHOWN_WITHIN_S)
                left = left[count or 0 :]
        except OSError as problem:
            return problem
        return None


class _Results(Shown):
    """What was asked for: all of it waits for its reader."""

    keeps_all = True


def allow_for_any_console() -> None:
    """Have this process's standard output and error be such streams, whatever their encoding."""
    global _hurried
    _hurried = False
    sys.stdout = _shown(sys.stdout, _Results)
    sys.stderr = _shown(sys.stderr, Shown)


def results_lost() -> OhmwrightError | None:
    """Wait until what was printed is shown; an error where results had no room."""
    for stream in (sys.stderr, sys.stdout):
        if isinstance(stream, Shown):
            with suppress(KeyboardInterrupt):  # who is tired of waiting need not
                stream.drain()
    lost = sys.stdout.lost if isinstance(sys.stdout, _Results) else None
    if lost is None or lost.errno in _READER_GONE:
        return None
    return UsageError(
        f"Standard output cannot be written: {lost.strerror}.",
        "The record, if this was a run, is kept all the same.",
        "Make room or send it elsewhere, and ask again: 'ohmwright record list'.",
    )


def _shown(stream: TextIO, kind: type[Shown]) -> TextIO:
    """`stream` behind a thread, where it is one of the operating system's."""
    if stream is None or isinstance(stream, Shown):
        return stream
    write_plainer(stream)
    buffer = getattr(stream, "buffer", None)
    raw = getattr(buffer, "raw", buffer)  # PYTHONUNBUFFERED leaves the buffer out
    return cast(TextIO, kind(stream, raw)) if isinstance(raw, RawIOBase) else stream
