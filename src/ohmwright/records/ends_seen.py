"""What this computer has seen runs end with, in whatever store.

The witness of a store is found by the store's name, so that a copy under a new name has none. A run
keeps its name in every store, and a finished one ends with one hash for ever.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from contextlib import suppress
from pathlib import Path

from .private_files import create_private_file, make_private_folder
from .witness_file import ChainPosition


class EndsSeen:
    """A file with a line for each finished run that this computer has written or taken in.

    Nothing waits for it to reach the disk, and a line that makes no sense is passed over: it proves
    less, and accuses nobody.
    """

    def __init__(self, path: Path) -> None:
        self.path = path

    def note(self, end: ChainPosition) -> None:
        """Remember the last event of a finished run. Raises OSError."""
        make_private_folder(self.path.parent)
        with suppress(FileExistsError):
            os.close(create_private_file(self.path))
        # so few bytes are added whole, whoever else writes
        with self.path.open("ab", buffering=0) as file:
            file.write(f"\n{end.number} {end.hash.hex()} {end.run_id}\n".encode())

    def first(self) -> Mapping[str, ChainPosition]:
        """The last event of each run as it was seen first, by the name of the run."""
        found: dict[str, ChainPosition] = {}
        for end in self._ends():
            found.setdefault(end.run_id, end)
        return found

    def _ends(self) -> Iterator[ChainPosition]:
        try:
            lines = self.path.read_text("utf-8", errors="replace").split("\n")
        except OSError:
            return
        for line in filter(None, lines):
            with suppress(ValueError):
                number, head, run_id = line.split(maxsplit=2)
                yield ChainPosition(int(number), bytes.fromhex(head), run_id)
