"""What a file that somebody shows is: an issued paper, or data that nobody issued.

CSV, Parquet and digital certificates are written anew at each call: what they say of results is
held against the record.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from textwrap import shorten

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.records.issued_papers import CheckedFile, checked_paper, file_content, run_of_number
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.text import counted

from .dcc_rows import WORDS, is_signed
from .result_rows import ADDED_LATER, FORMS, DataForm, ResultRow

_SHORT = 80
"""How many characters of a text are shown whole."""
_NO_PROOF = "nothing in this file can prove itself"
_SIGNED = " Its XML signature is for any program for such signatures to check."


def checked_file(store: SqlStore, path: Path) -> CheckedFile:
    """What a file is, held against the records. Raises UsageError where it cannot be read."""
    found, form = checked_paper(store, path), FORMS.get(path.suffix.lower())
    if form is None or found.paper is not None:
        return found
    content = file_content(path)
    try:
        shown = form.rows(content)
    except ValueError:
        shown = {}
    if not shown:
        return CheckedFile(f"{path}", "unknown", f"{_NO_PROOF}, and it names no run to compare.")
    compared = _compared(store, path, form, shown)
    return replace(compared, said=f"{compared.said}{_SIGNED}") if is_signed(content) else compared


def _compared(
    store: SqlStore, path: Path, form: DataForm, shown: Mapping[str, Sequence[ResultRow]]
) -> CheckedFile:
    known = set(store.run_ids())
    runs = {run_of_number(name, known): rows for name, rows in shown.items()}
    named = ", ".join(list(runs)[:3]) + (f" and {len(runs) - 3} more" if len(runs) > 3 else "")
    if not known.issuperset(runs):
        said = f"{_NO_PROOF}, and not all runs that it names are on record here ({named})."
        return CheckedFile(f"{path}", "unknown", said)
    for run, rows in runs.items():
        try:
            differs = _least_differing(rows, form.on_record(store, run))
        except (RecordError, UsageError):
            said = f"{_NO_PROOF}, and run {run} is damaged or not finished on record."
            return CheckedFile(f"{path}", "unknown", said)
        if differs:
            said = f"NOT what is on record of run {run}: {differs[0]}. Do not use it."
            return CheckedFile(f"{path}", "changed", said)
    count = counted(sum("verdict" in row for rows in runs.values() for row in rows), "result")
    void = " The run is VOID." if store.voided_run_ids() & set(runs) else ""
    said = (
        f"{_NO_PROOF}. Held against the record, its {form.compared}, values, uncertainties and "
        f"verdicts agree: {count} of run {named}; not compared: {form.left_out}.{void} The "
        "certificate is the PDF or HTML that was issued."
    )
    return CheckedFile(f"{path}", "not a certificate", said)


def _least_differing(
    shown: Sequence[ResultRow], kept: Iterable[Sequence[ResultRow]]
) -> Sequence[str]:
    """In what a file differs from the state of the record to which it is nearest."""
    return min((list(_differences(shown, one)) for one in kept), key=len)


def _differences(shown: Sequence[ResultRow], kept: Sequence[ResultRow]) -> Iterator[str]:
    """Yield each thing in which a file differs from the record."""
    if len(shown) != len(kept):
        yield f"{len(shown)} results in the file, {len(kept)} on record"
    for one, other in zip(shown, kept, strict=False):
        for name, kept_text in other.items():
            if name not in one and (name in ADDED_LATER or name.startswith(WORDS)):
                continue  # a file of an earlier program
            text = one.get(name, "nothing")
            if not _same(text, kept_text):
                text, kept_text = _where_they_part(text, kept_text)
                yield f"{other['where']}: {name} {text} in the file, {kept_text} on record"
        for name in one:
            if name not in other and not name.startswith(WORDS):
                yield f"{other['where']}: {name} is in the file alone"


def _where_they_part(text: str, kept_text: str) -> Sequence[str]:
    """Two texts from the word on in which they differ; whole where they are short."""
    if max(len(text), len(kept_text)) <= _SHORT:
        return text, kept_text
    words = text.split(), kept_text.split()
    pairs = enumerate(zip(*words, strict=False))
    same = next((n for n, (a, b) in pairs if a != b), min(map(len, words)))
    return [f"…{shorten(' '.join(one[same:]), _SHORT, placeholder=' …')}" for one in words]


def _same(one: str, other: str) -> bool:
    """Whether two cells are one text or one number, which programs write in several ways."""
    try:
        return one == other or float(one) == float(other)
    except ValueError:
        return False
