"""Standard output and error whose writes do not block a run.

A terminal that is stopped (Ctrl-S) and a pipe that nobody reads take no more bytes, so that a
write to them blocks, perhaps with RF on. Therefore a thread of each stream writes. Neither a run
nor its exit code depends on a reader: once the reader is gone, the rest is dropped. Results that
cannot be written for another reason, such as a full disk, are an error.
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
from ohmwright.model.typed_command import typed_command

from .console_encoding import ASCII_FALLBACK, use_ascii_fallback

_READER_GONE = (errno.EPIPE, errno.EIO, errno.EINVAL)
"""A pipe that ended, a terminal that was closed, and a pipe that ended on Windows."""
_FLUSH_TIMEOUT_S = 0.25
"""How long `flush` waits for the reader; after one timeout not again until something is written."""
_EXIT_TIMEOUT_S = 2.0
"""How long the exit waits for the reader once a signal has asked for a stop."""
_QUEUE_BYTES = 200_000
"""Most bytes of standard error queued for a slow reader; beyond it the oldest are dropped."""

_stop_requested = False


def shorten_final_wait() -> None:
    """Limit the wait for readers at exit to 2 s. May be called in a signal handler."""
    global _stop_requested
    _stop_requested = True


class NonBlockingStream:
    """A text stream whose `write` returns at once and whose `flush` returns within 0.25 s."""

    keeps_all = False

    def __init__(self, stream: TextIO, raw: RawIOBase) -> None:
        self._stream, self._raw = stream, raw
        self._pending: deque[bytes] = deque()
        self._changed = Condition()
        self._stalled = False
        self.lost: OSError | None = None
        self._writer = Thread(target=self._write_queue, daemon=True, name="output-writer")

    def write(self, text: str) -> int:
        """Queue `text` for writing; return its length."""
        if text != "":  # click writes an empty text to find out the type of stream
            ending = text.replace("\n", "\r\n") if sys.platform == "win32" else text
            self._add(ending.encode(self._stream.encoding, ASCII_FALLBACK))
        return len(text)

    def flush(self) -> None:
        """Wait until the queue is written, at most 0.25 s and not for a reader that is stalled."""
        if sys.is_finalizing():  # the writer is gone, and may have taken the lock with it
            return
        with self._changed:
            if not self._stalled:
                self._stalled = not self._changed.wait_for(self._is_done, _FLUSH_TIMEOUT_S)

    def drain(self) -> None:
        """Wait until the queue is written, however long; after a stop at most 2 s."""
        with self._changed:
            while not self._is_done() and not _stop_requested:
                self._changed.wait(_FLUSH_TIMEOUT_S)
            self._changed.wait_for(self._is_done, _EXIT_TIMEOUT_S)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def _add(self, data: bytes) -> None:
        with self._changed:
            if self.lost is not None:
                return
            self._pending.append(data)
            while not self.keeps_all and self._queue_is_full():
                del self._pending[1]  # the first is being written
            if not self._writer.is_alive():
                self._start_writer()
            self._changed.notify_all()

    def _start_writer(self) -> None:
        """Start the writer; write here and now where the system gives no thread, as by a limit.

        What stayed in the queue would be waited for at the exit without end.
        """
        try:
            self._writer.start()
        except RuntimeError:
            while self._pending and self.lost is None:
                self.lost = self._write(self._pending.popleft())

    def _queue_is_full(self) -> bool:
        return len(self._pending) > 2 and sum(map(len, self._pending)) > _QUEUE_BYTES

    def _is_done(self) -> bool:
        return not self._pending or self.lost is not None or not self._writer.is_alive()

    def _write_queue(self) -> None:
        while self.lost is None:
            with self._changed:
                self._changed.wait_for(lambda: bool(self._pending))
                data = self._pending[0]
            problem = self._write(data)
            with self._changed:
                self.lost = problem
                self._pending.popleft()
                self._stalled = False
                self._changed.notify_all()

    def _write(self, data: bytes) -> OSError | None:
        """Write all of `data`; return the error that prevented it, or None."""
        left = memoryview(data)
        try:
            while left:
                count = self._raw.write(left)
                if count is None:  # the parent process made the descriptor non-blocking
                    select.select([], [self._raw], [], _FLUSH_TIMEOUT_S)
                left = left[count or 0 :]
        except OSError as problem:
            return problem
        return None


class _ResultStream(NonBlockingStream):
    """Standard output: nothing in its queue is dropped while its reader lives."""

    keeps_all = True


def install_nonblocking_streams() -> None:
    """Replace standard output and error of this process by such streams, in any encoding."""
    global _stop_requested
    _stop_requested = False
    sys.stdout = _nonblocking(sys.stdout, _ResultStream)
    sys.stderr = _nonblocking(sys.stderr, NonBlockingStream)


def finish_output() -> OhmwrightError | None:
    """Wait until all output is written; return an error where results could not be, else None."""
    for stream in (sys.stderr, sys.stdout):
        if isinstance(stream, NonBlockingStream):
            with suppress(KeyboardInterrupt):  # Ctrl-C ends the wait
                stream.drain()
    lost = sys.stdout.lost if isinstance(sys.stdout, _ResultStream) else None
    if lost is None or lost.errno in _READER_GONE:
        return None
    return UsageError(
        f"Standard output cannot be written: {lost.strerror}.",
        "The record, if this was a run, is kept all the same.",
        f"Make room or send it elsewhere, and ask again: '{typed_command('record list')}'.",
    )


def _nonblocking(stream: TextIO, kind: type[NonBlockingStream]) -> TextIO:
    """Return `stream` wrapped in `kind`, or itself where it is not one of the operating system."""
    if stream is None or isinstance(stream, NonBlockingStream):
        return stream
    use_ascii_fallback(stream)
    buffer = getattr(stream, "buffer", None)
    raw = getattr(buffer, "raw", buffer)  # PYTHONUNBUFFERED leaves the buffer out
    return cast(TextIO, kind(stream, raw)) if isinstance(raw, RawIOBase) else stream
