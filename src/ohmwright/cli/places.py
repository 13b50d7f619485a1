"""Where files are: records, and data named in a bench file."""

from __future__ import annotations

from pathlib import Path

import platformdirs

from ohmwright.model.errors import SourceError
from ohmwright.model.shipped import shipped


def records_place(given: str | None) -> str:
    """Where records live: what was given (a folder, a .sqlite file, a URL), else the user's own."""
    return str(_data() / "records") if given is None else given


def operator_key() -> Path:
    """The file of the key with which the operator signs."""
    return platformdirs.user_config_path("ohmwright", appauthor=False) / "operator.key"


def witness_folder() -> Path:
    """What this computer has seen of each store, apart from the stores."""
    return platformdirs.user_state_path("ohmwright", appauthor=False) / "witness"


def _data() -> Path:
    return platformdirs.user_data_path("ohmwright", appauthor=False)


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
