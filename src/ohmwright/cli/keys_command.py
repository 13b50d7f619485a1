"""The commands `record keys list`, `new`, `trust`, `distrust` and `vouch`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from rich.table import Table
from rich.text import Text

from ohmwright.api.open_records import records_exist
from ohmwright.model.errors import RecordError
from ohmwright.records.keys import KeyStatus
from ohmwright.records.seal import fingerprint
from ohmwright.records.signed_contents import signatures
from ohmwright.records.trust import Signer, TrustedKeys, resolved_key, signers
from ohmwright.records.vouchers import KeyDecision, add_voucher
from ohmwright.reports.text import printable

from .console import out, print_json
from .open_records import open_existing_records, open_records, own_key, trusted_keys
from .table_format import with_whole_words


def list_keys(records: str | None, trusted: Path | None, *, as_json: bool) -> int:
    """Print own key, trusted keys and those that signed runs; return 0, or 6 for a bad own key.

    Creates no key.
    """
    own = own_key()
    status, sealed, names = own.status(), _signers(records), _names(records, trusted)
    if as_json:
        print_json(_document(status, own.path, sealed, names))
    else:
        out().print(Text(_of_own(status, own.path)), soft_wrap=True)
        if names or sealed:
            out().print(with_whole_words(_table(sealed, names)))
    return 0 if status.problem is None else RecordError.exit_code


def new_key(source: Path | None) -> None:
    """Create the key with which this computer signs, or copy it from the PEM file `source`."""
    own = own_key()
    public = own.create(source)
    out().print(f"Your key {fingerprint(public)} is in {own.path}: keep a copy.", soft_wrap=True)
    out().print(f"Its public part, for others to trust: {public}", soft_wrap=True)


def _names(records: str | None, trusted: Path | None) -> dict[str, str]:
    """Return each trusted key and whose it is, those that the records vouch for among them."""
    if not records_exist(records):
        return trusted_keys(trusted).names()
    with open_records(records) as store:
        return trusted_keys(trusted, store).names()


def vouch_for_key(given: str, what: KeyDecision, name: str, records: str | None) -> None:
    """Keep with the records that this computer's key vouches for another one, or no longer."""
    with open_existing_records(records) as store:
        known = (signer.key for signer in signers(signatures(store.database)))
        key = resolved_key(given, [*trusted_keys(None, store).names(), *known])
        add_voucher(store, what, key, name)
        by = fingerprint(store.key.public)
    so = "vouched for" if what == "trust" else "vouched for no longer"
    whose = f" as {printable(name)}'s" if name else ""
    said = f"Key {fingerprint(key)} is {so}{whose} by key {by}, in these records: whoever trusts "
    out().print(Text(f"{said}that key goes by it."), soft_wrap=True)


def trust_key(given: str, name: str, records: str | None, trusted: Path | None) -> None:
    """Add a key, given by fingerprint or in full, to the list of trusted keys."""
    kept = trusted_keys(None) if trusted is None else TrustedKeys(trusted)  # may be a new list
    key = resolved_key(given, [*kept.names(), *(signer.key for signer in _signers(records))])
    kept.trust(key, name)
    whose = f" as {printable(name)}'s" if name else ""
    out().print(Text(f"Key {fingerprint(key)} is trusted{whose}, by {kept.path}"), soft_wrap=True)


def distrust_key(given: str, records: str | None, trusted: Path | None) -> None:
    """Remove a key from the list of trusted keys."""
    kept = trusted_keys(trusted)
    key = resolved_key(given, [*kept.names(), *(signer.key for signer in _signers(records))])
    kept.distrust(key)
    said = f"Key {fingerprint(key)} is trusted no longer, by {kept.path}"
    out().print(Text(said), soft_wrap=True)


def _signers(records: str | None) -> list[Signer]:
    if not records_exist(records):
        return []
    with open_records(records) as store:
        return signers(signatures(store.database))


def _document(
    status: KeyStatus, path: Path, sealed: Sequence[Signer], names: Mapping[str, str]
) -> dict[str, object]:
    own = status.public
    return {
        "own": None if own is None else {"fingerprint": fingerprint(own), "key": own},
        "problem": None if status.problem is None else str(status.problem),
        "file": str(path),
        "trusted": [
            {"fingerprint": fingerprint(key), "key": key, "name": name}
            for key, name in names.items()
        ],
        "signed": [
            {
                "fingerprint": signer.fingerprint,
                "key": signer.key,
                "operators": signer.operators,
                "runs": len(signer.runs),
                "trusted": signer.key in names,
            }
            for signer in sealed
        ],
    }


def _of_own(status: KeyStatus, path: Path) -> str:
    if status.problem is not None:
        return str(status.problem)
    if status.public is None:
        return "You have no key yet; the first run makes it, or: ohmwright record keys new"
    return f"Your key {fingerprint(status.public)} in {path}\nIts public part: {status.public}"


def _table(sealed: Sequence[Signer], names: Mapping[str, str]) -> Table:
    table = Table("Key", "Trusted", "Said to be of", "Runs signed", box=None, pad_edge=False)
    by_key = {signer.key: signer for signer in sealed}
    for key in dict.fromkeys([*names, *by_key]):
        signer = by_key.get(key, Signer(key))
        trusted = f"as {names[key] or 'nobody named'}" if key in names else "NO"
        table.add_row(
            signer.fingerprint,
            Text(printable(trusted), style="" if key in names else "bold yellow"),
            Text(printable(", ".join(signer.operators)) if signer.operators else ""),
            str(len(signer.runs)),
        )
    return table
