"""What is said where pages of the laboratory's own cannot be typeset, and what they may not use."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

from ohmwright.model.errors import SourceError
from ohmwright.model.source import read_text

if TYPE_CHECKING:
    import typst

_DO = "Correct the file; 'ohmwright guide certificates' says which data it gets."
_PLACE = re.compile(r"┌─ (?:.*[/\\])?([^/\\\n]+):(\d+):(\d+)$", re.MULTILINE)
"""File, line from 1 and column from 0 in a message of typst, which has the place itself first."""
_PACKAGE = re.compile(r'"@[\w-]+/[\w-]+:[\d.]+"')
_OUTSIDE = "would escape the project root"


def refuse_packages(own_pages: Path) -> None:
    """Raise SourceError where the file names a package, which typst would take from the network."""
    if found := _PACKAGE.search(read_text(own_pages)):
        raise SourceError(
            f"{own_pages}: uses the package {found[0]}.",
            "A paper is made of files at hand: a package comes from the network, and may not be "
            "there when the paper is made again. No paper was written.",
            "Put what is used of it into files beside this one.",
        )


def own_pages_error(own_pages: Path, problem: typst.TypstError) -> SourceError:
    """The error that says where and why a file of own pages cannot be typeset."""
    place = _PLACE.search(problem.diagnostic)
    where = f"{own_pages}"
    if place is not None:
        where = f"{own_pages.with_name(place[1])}:{place[2]}:{int(place[3]) + 1}"
    if _OUTSIDE in problem.message:
        return SourceError(
            f"{where}: reads a file outside its folder.",
            "Pages of your own may read what lies beside their file or below, nothing else. No "
            "paper was written.",
            f"Put the file into {own_pages.parent}.",
        )
    hints = "".join(f" {hint[:1].upper()}{hint[1:]}." for hint in problem.hints)
    return SourceError(
        f"{where}: cannot be typeset: {problem.message}.", f"No paper was written.{hints}", _DO
    )
