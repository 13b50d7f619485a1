"""Standard output and error whose reader may be gone, as when a pipe or a terminal is closed.

Neither a run nor its exit code may depend on whether somebody still sees it. But what was asked
for and has no room, as on a full disk, is an error.
"""

from __future__ import annotations

import errno
import os
import sys
from typing import Any, TextIO, cast

from ohmwright.model.errors import UsageError

from .lettering import write_plainer

_READER_GONE = (errno.EPIPE, errno.EIO, errno.EINVAL)
"""A pipe that ended, a terminal that was closed, and a pipe that ended on Windows."""


class _PerhapsUnread:
    """A stream that swallows all there is to say once nobody takes it."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream

    def write(self, text: str) -> int:
        try:
            if text != "":  # click writes nothing, to see what it is, and swallows what happens
                self._stream.write(text)
        except OSError as problem:
            self._lost(problem)
        return len(text)

    def flush(self) -> None:
        try:
            self._stream.flush()
        except OSError as problem:
            self._lost(problem)

    def _lost(self, problem: OSError) -> None:  # noqa: ARG002
        # what is still buffered would fail again at the exit, and change its code
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, self._stream.fileno())
        os.close(nowhere)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


class _Results(_PerhapsUnread):
    """Raises UsageError where the reader is there but what it was to get is lost."""

    def _lost(self, problem: OSError) -> None:
        super()._lost(problem)
        if problem.errno not in _READER_GONE:
            raise UsageError(
                f"Standard output cannot be written: {problem.strerror}.",
                "The record, if this was a run, is kept all the same.",
                "Make room or send it elsewhere, and ask again: 'ohmwright record list'.",
            ) from None


def allow_for_any_console() -> None:
    """Have this process's standard output and error be such streams, whatever their encoding."""
    if sys.stdout is not None:
        write_plainer(sys.stdout)
        sys.stdout = cast(TextIO, _Results(sys.stdout))
    if sys.stderr is not None:
        write_plainer(sys.stderr)
        sys.stderr = cast(TextIO, _PerhapsUnread(sys.stderr))
