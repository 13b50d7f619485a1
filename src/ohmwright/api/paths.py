"""Paths of the user's files and of the data files that a bench file names."""

from __future__ import annotations

from collections.abc import Callable
from os import PathLike, fspath
from pathlib import Path
from shlex import quote
from typing import NamedTuple

import platformdirs

from ohmwright.model.account import account_name
from ohmwright.model.errors import SourceError, UsageError
from ohmwright.model.positions import Path as KeyPath
from ohmwright.model.shipped import shipped
from ohmwright.model.source import is_existing_file, place_in
from ohmwright.model.typed_command import typed_command

RecordsAt = str | PathLike[str]
"""Where records are: a folder, a .sqlite file or a URL."""


def given_path(what: str, given: str | PathLike[str]) -> Path:
    """Return the path that a program gives as `what`. Raises UsageError for what is none."""
    path = fspath(given) if isinstance(given, str | PathLike) else None
    if not isinstance(path, str):  # a path may be bytes
        raise UsageError(f"{what} takes a path, not {given!r}.", do="Give text or a pathlib.Path.")
    return Path(path)


def records_location(given: RecordsAt | None) -> str:
    """Return `given` (a folder, a .sqlite file or a URL), else the user's own folder of records.

    Raises UsageError for empty text, and for what is no place.
    """
    if given == "":  # of a variable that has no value; it would be the folder one works in
        raise UsageError(
            "The place of the records is empty.",
            do="Say where they are: --records, in a program records=; this folder is '.'.",
        )
    if given is None:
        return str(_user_folder(platformdirs.user_data_path) / "records")
    return given if isinstance(given, str) else str(given_path("records=", given))


def operator_key_file() -> Path:
    """Return the path of the operator's signing key."""
    return _user_folder(platformdirs.user_config_path) / "operator.key"


def trusted_keys_file() -> Path:
    """Return the path of the user's own list of trusted keys."""
    return _user_folder(platformdirs.user_config_path) / "trusted-keys"


def laboratory_file_of_user() -> Path:
    """Return the path of the user's own laboratory file."""
    return _user_folder(platformdirs.user_config_path) / "laboratory.toml"


def witness_folder() -> Path:
    """Return the folder in which this computer keeps what it has seen of each store."""
    return _user_folder(platformdirs.user_state_path) / "witness"


def forecast_folder() -> Path:
    """Return the folder of what was computed of creep, which can be computed anew."""
    return _user_folder(platformdirs.user_cache_path) / "creep"


def crash_folder() -> Path:
    """Return the folder of the log files of crashes."""
    return _user_folder(platformdirs.user_state_path) / "crashes"


def _user_folder(kind: Callable[..., Path]) -> Path:
    """Return the user's folder of a kind (data, configuration, state).

    Raises UsageError where the account has no home folder.
    """
    try:
        folder = kind("ohmwright", appauthor=False)
    except RuntimeError:  # nobody could tell where that would be
        folder = Path(".ohmwright")
    if not folder.is_absolute():
        raise UsageError(
            f"This account ({account_name()}) has no home folder, so {folder} would be anywhere.",
            "Records, key and traces would be in whatever folder one happens to work in.",
            "Set HOME to a folder that is yours, and try again.",
        )
    return folder


def data_file(name: str, beside: Path, kind: str, key: KeyPath) -> Path:
    """Return the data file `name` of the bench file `beside`: in its folder, else a shipped one.

    `kind`: the folder of shipped files, `analyzers` or `generators`; `key`: of the bench file, that
    names it. Raises SourceError where there is none.
    """
    names = [path.stem for path in shipped(kind).glob("*.toml")]
    what = _Named(f"data file '{name}'", kind, key)
    return _file(name, beside, shipped(kind, f"{name}.toml"), what, names)


def certificate_file(name: str, beside: Path) -> Path:
    """Return the certificate `name` of the bench file `beside`: in its folder, else a shipped one.

    Raises SourceError where there is none.
    """
    folder = shipped("analyzers")
    names = [path.parent.name for path in folder.glob("*/certificate.toml")]
    own = folder / name / "certificate.toml"
    what = _Named(f"certificate '{name}'", "certificates", ("analyzer", "certificate"))
    return _file(name, beside, own, what, names)


def given_procedure(given: Path) -> Path:
    """Return the procedure file that a person names, who may leave out the ending.

    Else the shipped one of that name; `given` itself where there is none.
    """
    if given.name == "":  # no file has such a path
        return given
    named = f"{given.name}.toml"
    places = (given, given.with_name(named), shipped("procedures", *given.parent.parts, named))
    return next((path for path in places if is_existing_file(path)), given)


def procedure_file(name: str, beside: Path, tag: str) -> Path:
    """Return the procedure `name` of the asset `tag`: beside the bench file, else a shipped one.

    Raises SourceError where there is none.
    """
    own, other = beside.parent / name, shipped("procedures", f"{name}.toml")
    found = next((path for path in (own, other) if name and is_existing_file(path)), None)
    if found is None:
        where = (
            "Its procedure stands in the register, by its path beside the bench file or the name "
            "of a shipped one."
        )
        raise SourceError(
            f"Asset {tag} has no procedure." if name == "" else f"{own}: there is no such file.",
            shipped_procedure_hint(name) or where,
            "Name it on the command line, or: "
            + typed_command(f"asset change {quote(tag)} --procedure FILE"),
        )
    return found


def shipped_procedure_hint(name: str) -> str:
    """Return what a name with the ending of a shipped file should be; empty for another."""
    stem = name.removesuffix(".toml")
    if stem == name or not is_existing_file(shipped("procedures", name)):
        return ""
    return f"The shipped one has the name '{stem}', without an ending."


class _Named(NamedTuple):
    """A file that a bench file names: in words, of which kind, and by which key."""

    words: str
    kind: str
    key: KeyPath


def _file(name: str, beside: Path, shipped_path: Path, what: _Named, names: list[str]) -> Path:
    """Return the first that exists of `name` beside the bench file and `shipped_path`."""
    own = beside.parent / name
    if is_existing_file(own):
        return own
    if is_existing_file(shipped_path):
        return shipped_path
    raise SourceError(
        f"{place_in(beside, what.key)}: there is no {what.words}.",
        f"Looked for {own} and among the shipped {what.kind}: {', '.join(sorted(names))}.",
        "Correct the name in the bench file.",
    )


def file_name_safe(text: str) -> str:
    """Return `text` with all but letters, digits, - and _ replaced by -."""
    return "".join(c if c.isalnum() or c in "-_" else "-" for c in text)
