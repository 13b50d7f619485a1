"""Files in the user's cache: they save time, and nothing is lost without them."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path


def replace_cached(path: Path, content: bytes) -> None:
    """Replace a file as a whole; a folder that cannot be written to is done without."""
    draft = path.with_name(f"{path.name}.{os.getpid()}")
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        draft.write_bytes(content)
        draft.replace(path)
