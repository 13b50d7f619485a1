"""The procedures that the page offers: files that were named, and those beside bench files."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from ohmwright.engine.procedure_file import ProcedureFile, read_procedure
from ohmwright.model.errors import OhmwrightError, UsageError

_MOST_FILES = 200
_MARK = "[[step]]"
"""A TOML file without it is no procedure."""


@dataclass(frozen=True)
class Offer:
    """A procedure file in a list; `problem` says why it cannot be used."""

    number: int
    file: str
    title: str = ""
    model: str = ""
    steps: int = 0
    problem: str = ""
    digest: str = ""
    """SHA-256 of the text that is offered: a screen sends it back with the order to begin."""


class OfferedProcedures:
    """A fixed list of files: a page names one by its number and can reach no other file."""

    def __init__(self, paths: Sequence[Path], practice: Sequence[Path] = ()) -> None:
        """`practice`: those that are offered for the practice unit alone."""
        self._paths = tuple(dict.fromkeys(path.resolve() for path in (*paths, *practice)))
        self._practice = frozenset(path.resolve() for path in practice)

    def read(self, number: int) -> ProcedureFile:
        """Return the procedure `number`, as its file is now. Raises UsageError, ProcedureError."""
        if not 0 <= number < len(self._paths):
            raise UsageError("There is no such procedure.", do="Choose one of the list.")
        return read_procedure(self._paths[number])

    def of_digest(self, digest: str) -> ProcedureFile | None:
        """Return the procedure whose text has this SHA-256; None where there is none."""
        for number in range(len(self._paths)):
            with suppress(OhmwrightError):
                file = self.read(number)
                if file.digest == digest:
                    return file
        return None

    def text(self, number: int) -> str:
        """Return the text of a procedure file; empty where it cannot be read."""
        try:
            return self._paths[number].read_text(encoding="utf-8", errors="replace")
        except (OSError, IndexError):
            return ""

    def name(self, number: int) -> str:
        """Return the name of a procedure file, without its folder."""
        return self._paths[number].name

    def offers(self, *, to_practise: bool) -> list[Offer]:
        """Return each file for a bench with its title and model, or why it cannot be used.

        The title of several has the name of each file behind it. `to_practise`: whether the bench
        is the one of practice.
        """
        shown = (n for n, path in enumerate(self._paths) if to_practise or self._is_work(path))
        offers = [self._offer(number) for number in shown]
        times = Counter(offer.title for offer in offers if offer.title)
        return [
            offer
            if times[offer.title] < 2
            else replace(offer, title=f"{offer.title}, {offer.file}")
            for offer in offers
        ]

    def _is_work(self, path: Path) -> bool:
        return path not in self._practice

    def _offer(self, number: int) -> Offer:
        name = self._paths[number].name
        try:
            file = self.read(number)
        except OhmwrightError as problem:
            return Offer(number, name, problem=str(problem))
        procedure = file.procedure
        title = f"{procedure.title}, revision {procedure.revision}"
        steps = len(procedure.step)
        return Offer(number, name, title, procedure.model, steps, digest=file.digest)


def procedures_in(folders: Iterable[Path]) -> list[Path]:
    """Return the procedure files in `folders`, by name; none whose name is no text."""
    found: list[Path] = []
    for folder in dict.fromkeys(folder.resolve() for folder in folders):
        for path in sorted(folder.glob("*.toml"))[:_MOST_FILES]:
            try:
                path.name.encode()  # as the page and the record want it
                if _MARK in path.read_text(encoding="utf-8", errors="replace"):
                    found.append(path)
            except (OSError, UnicodeEncodeError):
                continue
    return found
