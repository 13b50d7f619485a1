"""Reading TOML files into data models; every complaint names file, line and column."""

from __future__ import annotations

from collections.abc import Container, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from .complaint_words import in_python
from .errors import SourceError, UsageError
from .placed_complaints import MOST, Detail, details_of, nearest_place, placed_complaints
from .positions import Path as KeyPath
from .positions import key_positions
from .text_limits import LARGEST_BYTES
from .toml_text import decoded
from .value_forms import misread_values

M = TypeVar("M", bound=BaseModel)
_MARKS = {
    "a procedure": ("title", "step"),
    "a bench file": ("analyzer", "generator"),
    "an analyzer certificate": ("number", "laboratory"),
    "the data file of an analyzer": ("load_bank", "meter"),
    "the data file of a generator": ("maker", "modes"),
    "a command set": ("ask", "tell"),
}
"""The keys by which a file, or its table [data], shows of which kind it is."""


def load(path: Path, noun: type[M], *, table: str | None = None) -> M:
    """The file `path`, or one top-level `table` of it, validated as the model `noun`.

    Raises SourceError naming file, line, column and the nearest valid key.
    """
    return parse(path, read_text(path), noun, table=table)


def parse(
    path: Path,
    text: str,
    noun: type[M],
    *,
    table: str | None = None,
    error: type[SourceError] = SourceError,
) -> M:
    """The TOML `text` of the file `path`, or one `table` of it, validated as the model `noun`.

    Raises `error` (a SourceError) naming file, line, column and the nearest valid key.
    """
    data = decoded(path, text, error)
    _refuse_other_kind(path, data, noun, error)
    wanted = data if table is None else _table(path, data, table, error)
    try:
        read = noun.model_validate(wanted)
    except ValidationError as problem:
        details = details_of(problem, noun)
    else:
        details = [Detail(at, partial(str, what)) for at, what in misread_values(wanted, read)]
        if not details:
            return read
    prefix = () if table is None else (table,)
    complaints = placed_complaints(details, data, text, prefix)
    lines = [f"{path}:{line}:{column}: {what}" for (line, column), what in complaints]
    lines += [f"{path}: and perhaps more."] if len(complaints) >= MOST else []
    raise error("\n".join(lines), do="Correct the file and try again.")


@contextmanager
def refused_by_name(what: str, noun: type[BaseModel]) -> Iterator[None]:
    """Raise UsageError where the block validates values that a program has given, and they fail.

    `what`: what the program called; `noun`: the model that was validated. Each key that makes no
    sense is named.
    """
    try:
        yield
    except ValidationError as problem:
        details = details_of(problem, noun)[:MOST]
        found = [f"{_given(one.loc)}: {in_python(one.say())}" for one in details]
        raise UsageError(f"{what}: {'; '.join(found)}.", do="Correct it.") from None


def place_in(path: Path, key: KeyPath) -> str:
    """`path:line:column` of a key, or the nearest table of it, in the file as it stands now.

    `path` alone where it cannot be read.
    """
    try:
        places = key_positions(read_text(path))
    except SourceError:
        return str(path)
    line, column = nearest_place(places, key)
    return f"{path}:{line}:{column}"


def read_text(path: Path, error: type[SourceError] = SourceError) -> str:
    """The text of `path` with `\\n` line ends.

    Raises `error` where there is none, or it is no UTF-8 or larger than 250 kB.
    """
    try:
        if path.exists() and not path.is_file():  # a pipe would be waited for without end
            raise error(f"{path}: is no ordinary file.", do="Name the file itself.")
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
        text = raw.decode("utf-8-sig")
    except FileNotFoundError:
        looked_in = "" if path.is_absolute() else f"; this one is {Path.cwd()}"
        do = f"Check the name and folder{looked_in}."
        raise error(f"{path}: there is no such file.", do=do) from None
    except OSError as problem:
        why = problem.strerror or str(problem)
        raise error(f"{path}: cannot be read: {why}.", do="Check the file.") from None
    except UnicodeDecodeError as problem:
        before = problem.object[: problem.start]
        line, column = before.count(b"\n") + 1, problem.start - before.rfind(b"\n")
        raise error(
            f"{path}:{line}:{column}: a byte here is no UTF-8 text.",
            "The file was saved in another encoding, or is no text.",
            "Save it as UTF-8.",
        ) from None
    if len(raw) > LARGEST_BYTES:
        raise error(
            f"{path}: is larger than {LARGEST_BYTES // 1000} kB.",
            "No procedure, bench or data file is; it was not read.",
            "Check that it is the right file.",
        )
    return text.replace("\r\n", "\n").replace("\r", "\n")


def is_existing_file(path: Path) -> bool:
    """Whether `path` is an existing file; False for a name that no file can have."""
    try:
        return path.is_file()
    except OSError:
        return False


def _refuse_other_kind(
    path: Path, data: dict[str, Any], noun: type[BaseModel], error: type[SourceError]
) -> None:
    """Raise `error` for a file of another kind than is wanted, where both kinds are known."""
    inner = data.get("data")
    found = _kind(data) or (_kind(inner) if isinstance(inner, dict) else None)
    wanted = _kind(noun.model_fields)
    if found is not None and wanted is not None and found != wanted:
        raise error(
            f"{path}: this is {found}, not {wanted}.",
            do=f"Name {wanted} in its place: on the command line, or in the bench file.",
        )


def _kind(keys: Container[str]) -> str | None:
    return next((kind for kind, marks in _MARKS.items() if all(key in keys for key in marks)), None)


def _table(path: Path, data: dict[str, Any], table: str, error: type[SourceError]) -> Any:
    if table not in data:
        raise error(f"{path}:1:1: the table [{table}] is missing.", do="Add it.")
    return data[table]


def _given(path: KeyPath) -> str:
    """The name of a value that a program has given; entries of a list are counted from 1."""
    said = "".join(f" entry {part + 1}" if isinstance(part, int) else f".{part}" for part in path)
    return said.removeprefix(".")
