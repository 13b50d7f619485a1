"""Where files are: records, and data named in a bench file."""

from __future__ import annotations

from pathlib import Path

import platformdirs

from ohmwright.model.errors import SourceError
from ohmwright.model.shipped import shipped


def records_folder(given: Path | None) -> Path:
    """The folder of records: the one given, else the user's own."""
    if given is not None:
        return given
    return Path(platformdirs.user_data_dir("ohmwright", appauthor=False)) / "records"


def data_file(name: str, beside: Path, kind: str) -> Path:
    """The file that a bench file means by `name`: beside it, else a shipped profile.

    `kind` is the shipped folder, `analyzers` or `generators`. Raises SourceError.
    """
    own = beside.parent / name
    if own.is_file():
        return own
    profile = shipped(kind, f"{name}.toml")
    if profile.is_file():
        return profile
    names = ", ".join(sorted(path.stem for path in shipped(kind).glob("*.toml")))
    raise SourceError(
        f"{beside}: there is no data file '{name}'.",
        f"Looked for {own} and among the shipped {kind}: {names}.",
        "Correct 'data' in the bench file.",
    )
