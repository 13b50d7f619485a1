"""`record list`, `show`, `verify` and `keys`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from datetime import datetime
from typing import get_args

from rich.table import Table
from rich.text import Text

from ohmwright.engine.run import results
from ohmwright.model.errors import RecordError, UsageError
from ohmwright.model.result import Verdict
from ohmwright.records.audit import Finding, audit, has_head
from ohmwright.records.keys import OperatorKey
from ohmwright.records.queries import CUT_SHORT, Filter, runs, seals
from ohmwright.records.seal import fingerprint
from ohmwright.records.sql_store import SqlStore

from .budgets import budget_table
from .console import out, print_json
from .open_records import existing_records, meant
from .places import operator_key
from .run_command import exit_code, report
from .run_words import STYLES


def wanted(
    asset: str | None, model: str | None, verdict: str | None, since: datetime | None
) -> Filter:
    """What a list is narrowed to. Raises UsageError for a verdict that there is not."""
    known = (*get_args(Verdict), CUT_SHORT)
    if verdict is not None and verdict not in known:
        raise UsageError(
            f"There is no verdict '{verdict}'.", do=f"Give one of: {', '.join(known)}."
        )
    return Filter(asset, model, verdict, since)


def list_runs(records: str | None, narrowed: Filter, *, as_json: bool) -> None:
    """One line a run, oldest first."""
    with existing_records(records) as store:
        rows = runs(store.database, narrowed)
    if as_json:
        keys = ("asset", "model", "serial", "procedure", "operator", "at", "verdict")
        print_json(
            [
                {"run": row["run_id"], "simulated": bool(row["simulated"])}
                | {key: row[key] for key in keys}
                for row in rows
            ]
        )
        return
    table = Table(box=None, pad_edge=False)
    table.add_column("Run", no_wrap=True, overflow="fold")  # is copied, so never cut
    for name in ("Unit", "Model", "Procedure", "Verdict"):
        table.add_column(name)
    for row in rows:
        verdict = Text(row["verdict"], style=STYLES.get(row["verdict"], "dim"))
        cells = (Text(row[key]) for key in ("run_id", "asset", "model", "procedure"))
        table.add_row(*cells, verdict)
    out().print(table if rows else "No runs like that.")


def show_run(run_id: str, records: str | None, *, as_json: bool, budgets: bool) -> int:
    """The tables of one run, with its uncertainty budgets where wanted; its own exit code."""
    with existing_records(records) as store:
        run_id = meant(store, run_id)
        events = store.events(run_id)
        report(run_id, events, store, as_json=as_json)
    if budgets and not as_json:
        out().print(budget_table(results(events)))
    return exit_code(events)


def verify_records(
    run_ids: Sequence[str], heads: Sequence[str], records: str | None, *, as_json: bool
) -> int:
    """Every finding on a line; 6 when there is one."""
    with existing_records(records) as store:
        chosen = [meant(store, run_id) for run_id in run_ids]
        known = store.run_ids()
        for run_id in chosen:
            if run_id not in known:
                raise store.unknown(run_id)
        findings = [*audit(store, chosen), *_unknown_heads(store, heads)]
        count = len(chosen or known)
    if as_json:
        print_json(
            {
                "runs": count,
                "whole": not findings,
                "findings": [{"run": f.run, "event": f.event, "what": f.what} for f in findings],
            }
        )
        return RecordError.exit_code if findings else 0
    for finding in findings:
        out().print(Text(str(finding), style="bold red"), soft_wrap=True)
    if findings:
        out().print("Not whole: do not use as evidence what is named above; restore a copy.")
        return RecordError.exit_code
    out().print(f"{count} run{'' if count == 1 else 's'}: every hash, link and signature holds.")
    return 0


def _unknown_heads(store: SqlStore, heads: Sequence[str]) -> list[Finding]:
    what = "the hash {} is not on record: an older copy, or another store"
    return [Finding(what.format(head)) for head in heads if not has_head(store, head)]


def show_keys(records: str | None, *, as_json: bool) -> None:
    """The operator's own key, and who has signed how many runs."""
    own = OperatorKey(operator_key())
    with existing_records(records) as store:
        signed = Counter((s.statement.key, s.statement.operator) for s in seals(store.database))
    if as_json:
        print_json(
            {
                "own": {"fingerprint": fingerprint(own.public), "key": own.public},
                "file": str(own.path),
                "signed": [
                    {"fingerprint": fingerprint(key), "key": key, "operator": who, "runs": n}
                    for (key, who), n in signed.items()
                ],
            }
        )
        return
    out().print(f"Your key {fingerprint(own.public)} in {own.path}", soft_wrap=True)
    table = Table("Key", "Operator", "Runs signed", box=None, pad_edge=False)
    for (key, who), count in signed.items():
        table.add_row(fingerprint(key), Text(who), str(count))
    out().print(table if signed else "No run is signed yet.")
