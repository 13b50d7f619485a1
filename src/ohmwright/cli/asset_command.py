"""The commands `asset list`, `show`, `add`, `change` and `withdraw`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from shlex import quote

from pydantic import ValidationError
from rich.table import Table
from rich.text import Text

from ohmwright.api.import_warnings import import_warnings
from ohmwright.api.recorded_worklist import store_worklist, today
from ohmwright.model.account import account_name
from ohmwright.model.complaint_words import words_of_error
from ohmwright.model.errors import UsageError
from ohmwright.model.registered_asset import ASSET_STATES, RegisteredAsset
from ohmwright.model.typed_command import typed_command
from ohmwright.records.asset_changes import changes_of_history, changes_text
from ohmwright.records.asset_register import (
    AssetChange,
    AssetRegister,
    AssetRevision,
    ChangeKind,
    alike_words,
)
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.text import printable

from .console import out, print_json, print_notice
from .open_records import open_existing_records, open_records, open_records_for_reading
from .options import NotingOptions
from .table_format import with_whole_words
from .worklist_command import due_words, tried_alone

_STATE_STYLES = {"in service": "", "in repair": "yellow", "withdrawn": "dim"}


@dataclass(frozen=True)
class ChangeRequest:
    """A change of the register as asked for on the command line; None leaves a field as it is."""

    tag: str
    fields: Mapping[str, str | int | None]
    why: str
    noting: NotingOptions

    @property
    def by(self) -> str:
        """Who makes it."""
        return self.noting.operator or account_name()

    @property
    def given(self) -> dict[str, str | int]:
        """The fields that are given."""
        return {name: said for name, said in self.fields.items() if said is not None}


def list_assets(
    records: str | None,
    model: str | None,
    site: str | None,
    state: str | None,
    words: str,
    *,
    as_json: bool,
) -> None:
    """Print one line for each unit that fits, in the order of their tags."""
    if state is not None and state not in ASSET_STATES:
        raise UsageError(f"There is no state '{state}'.", do=f"States: {', '.join(ASSET_STATES)}.")
    with open_existing_records(records) as store:
        found = [
            one
            for one in AssetRegister(store.database).all()
            if (model is None or one.asset.model.casefold() == model.casefold())
            and (site is None or site.casefold() in one.asset.site.casefold())
            and (state is None or one.asset.state == state)
            and one.asset.has_words(words)
        ]
    if as_json:
        print_json([asset_document(one) for one in found])
        return
    out().print(with_whole_words(_table(found)) if found else "No assets like that.")


def show_asset(records: str | None, tag: str, *, as_json: bool) -> None:
    """Print a unit as it is now, when it is due, then every change of it, oldest first."""
    with open_records_for_reading(records) as store:
        register = AssetRegister(store.database)
        history = register.history(register.get(tag).asset.tag)
        work = _work_words(store, history[-1].asset.tag)
    if as_json:
        print_json([asset_document(one) for one in history])
        return
    for name, said in history[-1].asset.model_dump().items():
        out().print(Text(printable(f"{name.replace('_', ' ').capitalize()}: {said}")))
    for line in work:
        out().print(Text(printable(line)), soft_wrap=True)
    for one, changes in zip(history, changes_of_history(history), strict=True):
        words = "; ".join(filter(None, (one.why, changes_text(changes))))
        line = f"Revision {one.revision}, {one.at[:16]}Z, {one.what} by {one.by}"
        out().print(Text(printable(f"{line}: {words}" if words else line)), soft_wrap=True)


def _work_words(store: SqlStore, tag: str) -> list[str]:
    """Return when a unit is due, unless it is withdrawn, and the command that lists its runs."""
    units = [one for one in store_worklist(store, simulated=False) if one.asset.tag == tag]
    trials = "; its runs on simulated benches do not count" if tried_alone(store, units) else ""
    due = [f"Next work: {due_words(one)}{trials}" for one in units]
    return [*due, f"Its runs: {typed_command(f'record list --asset {quote(tag)}')}"]


def add_asset(request: ChangeRequest) -> None:
    """Add a unit. Raises UsageError where its tag is there already, or a field is wrong."""
    with open_records(request.noting.records) as store:
        register = AssetRegister(store.database)
        asset = _validated({"tag": request.tag, **request.given})
        if register.find(asset.tag) is not None:
            raise UsageError(
                f"There is an asset '{asset.tag}' already.",
                do=f"Change it with '{typed_command(f'asset change {quote(asset.tag)}')} …'.",
            )
        _refuse_twin(register, asset)
        _apply(register, request, AssetChange("added", asset, 1))


def change_asset(request: ChangeRequest) -> None:
    """Change fields of a unit. Raises UsageError where none would change, or one is wrong."""
    if not request.given:
        raise UsageError("Say what to change.", do="Give --site, --state or another field.")
    _change(request, "changed", request.given)


def withdraw_asset(request: ChangeRequest) -> None:
    """Set a unit's state to withdrawn."""
    _change(request, "withdrawn", {"state": "withdrawn"})


def _change(request: ChangeRequest, what: ChangeKind, given: Mapping[str, str | int]) -> None:
    with open_existing_records(request.noting.records) as store:
        register = AssetRegister(store.database)
        before = register.get(request.tag)
        asset = _validated({**before.asset.model_dump(), **given})
        if asset == before.asset:
            raise UsageError(f"Asset {asset.tag} is like that already.", "Nothing was changed.")
        if (asset.identity, asset.in_use) != (before.asset.identity, before.asset.in_use):
            _refuse_twin(register, asset)
        _apply(register, request, AssetChange(what, asset, before.revision + 1))


def _refuse_twin(register: AssetRegister, asset: RegisteredAsset) -> None:
    """Raise UsageError where another unit in use has its maker, model and serial number."""
    twin = register.twin_of(asset)
    if twin is not None:
        raise UsageError(
            f"Serial number '{asset.serial}' is also that of {twin}, of the same model.",
            "Nothing was changed: the records of one would be taken for those of the other.",
            "Read both labels; withdraw the one that is not used any more.",
        )


def _apply(register: AssetRegister, request: ChangeRequest, change: AssetChange) -> None:
    known = {one.asset.tag: one.asset for one in register.all()}
    register.apply([change], by=request.by, why=request.why)
    for words in _what_to_look_at(register, request, change, known):
        print_notice(printable(f"Look: {words}"))
    if request.noting.as_json:
        print_json(asset_document(register.get(change.asset.tag)))
        return
    said = f"Asset {change.asset.tag} {change.what} by {request.by}: revision {change.revision}."
    out().print(Text(printable(said)), soft_wrap=True)


def _what_to_look_at(
    register: AssetRegister,
    request: ChangeRequest,
    change: AssetChange,
    known: Mapping[str, RegisteredAsset],
) -> Iterator[str]:
    """Yield what is not wrong in itself and may be a slip; `known`: the register before."""
    if change.revision == 1 or request.given.keys() & {"serial", "model"}:
        for other in register.alike(change.asset):
            yield alike_words(change.asset, other)
    if change.revision == 1 or request.given.keys() & {"procedure", "model", "maker"}:
        yield from import_warnings(Path("register"), [change.asset], known)


def _validated(fields: Mapping[str, object]) -> RegisteredAsset:
    try:
        asset = RegisteredAsset.model_validate(fields)
    except ValidationError as problem:
        said = []
        for detail in problem.errors():
            name = str(detail["loc"][0])
            option = "TAG" if name == "tag" else f"--{name.replace('_', '-')}"
            missing = detail["type"] == "missing"
            said.append(f"{option}: {'is missing' if missing else words_of_error(detail)}.")
        raise UsageError("\n".join(said), "Nothing was changed.") from None
    try:
        asset.refuse_future(today())
    except ValueError as problem:
        what = f"--last-passed: '{asset.last_passed}': {problem}."
        raise UsageError(what, "Nothing was changed.") from None
    return asset


def asset_document(one: AssetRevision) -> dict[str, object]:
    """A unit as a JSON object, with its newest change."""
    told = {"revision": one.revision, "at": one.at, "by": one.by}
    return one.asset.model_dump() | told | {"what": one.what, "why": one.why}


def _table(found: list[AssetRevision]) -> Table:
    table = Table("Tag", "Model", "Serial", "Site", "Months", "State", box=None, pad_edge=False)
    table.columns[0].no_wrap = True
    table.columns[4].justify = "right"
    for one in found:
        asset = one.asset
        cells = (asset.tag, asset.model, asset.serial, asset.site, str(asset.interval_months))
        state = Text(asset.state, style=_STATE_STYLES.get(asset.state, ""))
        table.add_row(*(Text(printable(cell)) for cell in cells), state)
    return table
