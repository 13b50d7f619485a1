"""Root obeys no file modes; a test of them has to make it."""

import ctypes
import os
from collections.abc import Iterator
from contextlib import contextmanager

_VERSION_3 = 0x20080522
_OVERRIDE = 1 << 1 | 1 << 2  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH


@contextmanager
def obeyed() -> Iterator[None]:
    """Modes of files and folders hold for this thread, also where it is root's (Linux)."""
    if os.geteuid() != 0:
        yield
        return
    libc = ctypes.CDLL(None, use_errno=True)
    header, held = (ctypes.c_uint32 * 2)(_VERSION_3, 0), (ctypes.c_uint32 * 6)()
    assert libc.capget(header, held) == 0
    fewer = (ctypes.c_uint32 * 6)(*held)
    fewer[0] &= ~_OVERRIDE
    assert libc.capset(header, fewer) == 0
    try:
        yield
    finally:
        assert libc.capset(header, held) == 0
