"""A disk that has room for small files alone."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest


@contextmanager
def files_of_at_most(size: int) -> Iterator[None]:
    """Have this process write no file of more than `size` bytes in the block.

    What is imported there is not kept compiled: of such a file a part would be, and the next
    process could not read it. Skips the test where the system has no such limit.
    """
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    kept, sys.dont_write_bytecode = sys.dont_write_bytecode, True
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        sys.dont_write_bytecode = kept
