"""Which stores this computer has seen at which place.

The witness of a store is found by the store's name, so that a store put in the place of another one
has none. A place, the path of a file or the URL of a database, stays.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path

from .private_files import create_private_file, make_private_folder


class StorePlaces:
    """A file with a line for each store at each place: the store's name, then the place.

    Nothing waits for it to reach the disk, and a line that makes no sense is passed over.
    """

    def __init__(self, path: Path) -> None:
        self.path = path

    def note(self, place: str, store_id: str) -> None:
        """Remember that a store was seen at a place. Raises OSError."""
        if (store_id, place) in self._seen():
            return
        make_private_folder(self.path.parent)
        with suppress(FileExistsError):
            os.close(create_private_file(self.path))
        with self.path.open("ab", buffering=0) as file:
            file.write(f"\n{store_id} {place}\n".encode(errors="surrogateescape"))

    def others(self, place: str, store_id: str) -> Sequence[str]:
        """The names of other stores that were seen at a place, as they were seen first."""
        return [one for one, where in self._seen() if where == place and one != store_id]

    def _seen(self) -> Iterator[tuple[str, str]]:
        try:
            text = self.path.read_text("utf-8", errors="surrogateescape")
        except OSError:
            return
        for line in text.split("\n"):
            name, _, place = line.partition(" ")
            if name and place:
                yield name, place
