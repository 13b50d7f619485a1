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
    names = [path.stem for path in shipped(kind).glob("*.toml")]
    return _file(name, beside, shipped(kind, f"{name}.toml"), f"data file '{name}'", kind, names)


def certificate_file(name: str, beside: Path) -> Path:
    """The certificate that a bench file means by `name`: beside it, else a shipped analyzer's."""
    folder = shipped("analyzers")
    names = [path.parent.name for path in folder.glob("*/certificate.toml")]
    own = folder / name / "certificate.toml"
    return _file(name, beside, own, f"certificate '{name}'", "certificates", names)


def _file(name: str, beside: Path, ours: Path, what: str, kind: str, names: list[str]) -> Path:
    own = beside.parent / name
    if own.is_file():
        return own
    if ours.is_file():
        return ours
    raise SourceError(
        f"{beside}: there is no {what}.",
        f"Looked for {own} and among the shipped {kind}: {', '.join(sorted(names))}.",
        "Correct the name in the bench file.",
    )
