"""Where files are: records, and data named in a bench file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import platformdirs

from ohmwright.model.account import account_name
from ohmwright.model.errors import SourceError, UsageError
from ohmwright.model.shipped import shipped
from ohmwright.model.source import is_existing_file


def records_place(given: str | None) -> str:
    """Where records live: what was given (a folder, a .sqlite file, a URL), else the user's own."""
    return str(_own(platformdirs.user_data_path) / "records") if given is None else given


def operator_key() -> Path:
    """The file of the key with which the operator signs."""
    return _own(platformdirs.user_config_path) / "operator.key"


def trusted_list() -> Path:
    """The user's own list of keys that are trusted."""
    return _own(platformdirs.user_config_path) / "trusted-keys"


def witness_folder() -> Path:
    """What this computer has seen of each store, apart from the stores."""
    return _own(platformdirs.user_state_path) / "witness"


def crash_folder() -> Path:
    """Where the traces of crashes are kept."""
    return _own(platformdirs.user_state_path) / "crashes"


def _own(kind: Callable[..., Path]) -> Path:
    """The user's folder of a kind. Raises UsageError where the account has no home."""
    folder = kind("ohmwright", appauthor=False)
    if not folder.is_absolute():
        raise UsageError(
            f"This account ({account_name()}) has no home folder, so {folder} would be anywhere.",
            "Records, key and traces would be in whatever folder one happens to work in.",
            "Set HOME to a folder that is yours, and try again.",
        )
    return folder


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
    if is_existing_file(own):
        return own
    if is_existing_file(ours):
        return ours
    raise SourceError(
        f"{beside}: there is no {what}.",
        f"Looked for {own} and among the shipped {kind}: {', '.join(sorted(names))}.",
        "Correct the name in the bench file.",
    )


def plain(text: str) -> str:
    """`text` in letters, digits, dashes and underscores alone, as names of files and runs are."""
    return "".join(c if c.isalnum() or c in "-_" else "-" for c in text)
