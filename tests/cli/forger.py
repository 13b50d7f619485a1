"""A forger with the file, sqlite3, a new key and an hour, who knows the format."""

import json
import sqlite3
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

Change = Callable[[bytes], bytes]


def forge(file: Path, change: Change, *, passing: bool = True) -> None:
    """Change every event, then hash, link and sign all anew: whole in itself.

    `passing`: whether every verdict in the tables beside the events becomes a pass, too.
    """
    key = Ed25519PrivateKey.generate()
    connection = sqlite3.connect(file, isolation_level=None)
    triggers = connection.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
    kept = triggers.fetchall()
    for name, _ in kept:
        connection.execute(f"DROP TRIGGER {name}")
    heads = {}
    for run, opening in connection.execute("SELECT number, opening FROM runs").fetchall():
        head = sha256(opening).digest()
        query = "SELECT number, body FROM events WHERE run = ? ORDER BY number"
        for number, body in connection.execute(query, (run,)).fetchall():
            body = change(body)
            head = sha256(head + body).digest()
            row = (body, head, run, number)
            connection.execute("UPDATE events SET body=?, hash=? WHERE run=? AND number=?", row)
        heads[run] = head
    _forge_ledger(connection, key, heads)
    if passing:
        connection.execute("UPDATE ledger SET verdict = 'pass' WHERE verdict IS NOT NULL")
        connection.execute("UPDATE results SET verdict = 'pass'")
        connection.execute("UPDATE newest_runs SET verdict = 'pass'")
        connection.execute("UPDATE tallies SET passed = results")
    for _, sql in kept:
        connection.execute(sql)
    connection.close()


def _forge_ledger(
    connection: sqlite3.Connection, key: Ed25519PrivateKey, heads: dict[int, bytes]
) -> None:
    after = bytes(32)
    query = "SELECT number, run, document FROM ledger ORDER BY number"
    for number, run, document in connection.execute(query).fetchall():
        said = json.loads(document) | {"after": after.hex()}
        if "seal" in said:
            statement = said["seal"]["statement"]
            statement |= {
                "head": heads[run].hex(),
                "key": key.public_key().public_bytes_raw().hex(),
            }
            signed = key.sign(b"ohmwright seal 1\n" + _canonical(statement))
            said["seal"]["signature"] = signed.hex()
        text = _canonical(said)
        after = sha256(text).digest()
        row = (text, after, number)
        connection.execute("UPDATE ledger SET document=?, hash=? WHERE number=?", row)


def _canonical(document: object) -> bytes:
    return json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
