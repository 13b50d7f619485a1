"""Keys that are vouched for in the records count for whoever trusts the one who vouches."""

import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from hashlib import sha256
from pathlib import Path

import pytest

from ohmwright.cli.open_records import open_records
from tests.records.some_events import whole_run


@pytest.fixture
def at(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Callable[[str], None]:
    """Go to a computer, with keys, lists and memory of its own."""

    def go(computer: str) -> None:
        for name in ("DATA", "CONFIG", "STATE"):
            monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / computer / name))

    return go


def test_a_voucher_counts_for_who_trusts_its_signer_and_no_further(
    ohmwright: Callable, at: Callable[[str], None], tmp_path: Path
) -> None:
    place = tmp_path / "shared"
    keys = {}
    for computer in ("lab", "bench", "stranger"):
        at(computer)
        with open_records(str(place)) as store:
            store.append_all(f"by-{computer}", whole_run(f"by-{computer}"))
            keys[computer] = store.key.public

    def verified() -> int:
        return int(ohmwright("record", "verify", "--records", place).code)

    at("lab")
    vouched = ohmwright(
        "record", "keys", "vouch", keys["bench"], "--name", "Oda", "--records", place
    )
    assert (vouched.code, "vouched for as Oda's" in vouched.out) == (0, True)
    assert verified() == 4  # there is a stranger's run
    at("bench")
    ohmwright("record", "keys", "vouch", keys["stranger"], "--records", place)
    at("office")
    assert ohmwright("record", "keys", "trust", keys["lab"], "--records", place).code == 0
    listed = ohmwright("record", "keys", "list", "--records", place, "--json").json
    trusted = {one["key"]: one["name"] for one in listed["trusted"]}
    assert trusted[keys["bench"]].startswith("Oda, vouched for by")
    assert keys["stranger"] not in trusted  # who was vouched for vouches for nobody
    assert verified() == 4
    ohmwright("record", "keys", "trust", keys["stranger"], "--records", place)
    assert verified() == 0
    at("lab")
    ohmwright("record", "keys", "vouch", keys["bench"], "--withdraw", "--records", place)
    at("office")
    assert verified() == 4
    ohmwright("record", "keys", "trust", keys["bench"], "--records", place)
    assert verified() == 0


def test_a_forged_voucher_is_named_and_counts_for_nobody(
    ohmwright: Callable, at: Callable[[str], None], tmp_path: Path
) -> None:
    place = tmp_path / "shared"
    keys = {}
    for computer in ("bench", "lab"):
        at(computer)
        with open_records(str(place)) as store:
            store.append_all(f"by-{computer}", whole_run(f"by-{computer}"))
            keys[computer] = store.key.public
    ohmwright("record", "keys", "vouch", "ab" * 32, "--records", place)
    with closing(sqlite3.connect(place / "records.sqlite", isolation_level=None)) as file:
        trigger = "SELECT sql FROM sqlite_master WHERE name = 'ledger_no_update'"
        (statement,) = file.execute(trigger).fetchone()
        file.execute("DROP TRIGGER ledger_no_update")
        query = "SELECT number, document FROM ledger ORDER BY number DESC LIMIT 1"
        number, document = file.execute(query).fetchone()
        forged = document.replace(b"ab" * 32, keys["bench"].encode())
        change = "UPDATE ledger SET document = ?, hash = ? WHERE number = ?"
        file.execute(change, (forged, sha256(forged).digest(), number))
        file.execute(statement)
    assert json.loads(forged)["voucher"]["statement"]["key"] == keys["bench"]
    found = ohmwright("record", "verify", "--records", place)
    assert found.code == 6
    assert f"the voucher in entry {number} of the ledger is not signed so" in found.out
    listed = ohmwright("record", "keys", "list", "--records", place, "--json").json
    assert [one["key"] for one in listed["trusted"]] == [keys["lab"]]
