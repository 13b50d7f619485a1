"""`record verify`: whether what is on record is whole, and who stands for it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal

from rich.text import Text

from ohmwright.model.errors import RecordError
from ohmwright.records.audit import audit, has_head
from ohmwright.records.audit_finding import AuditFinding, FindingKind
from ohmwright.records.private_files import access_of_others
from ohmwright.records.queries import CUT_SHORT, Filter, runs, seals
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.trust import Signer, TrustedKeys, signers, untrusted_signers
from ohmwright.reports.text import printable

from .console import out, print_json
from .open_records import existing_records, meant, trusted_keys

State = Literal["good", "unknown", "wrong"]
EXIT_CODES: dict[State, int] = {"good": 0, "unknown": 4, "wrong": RecordError.exit_code}
_STYLES: dict[FindingKind, str] = {
    "wrong": "bold red",
    "unknown": "bold yellow",
    "warning": "yellow",
}
_SAID: dict[FindingKind, str] = {"wrong": "", "unknown": "Not known: ", "warning": "Warning: "}


@dataclass(frozen=True)
class Verified:
    """What a look at a store brought up."""

    runs: int
    findings: Sequence[AuditFinding]
    signers: Sequence[Signer]
    open_runs: Sequence[str]
    """Not finished, so that nobody has signed them."""
    trusted: TrustedKeys

    @property
    def state(self) -> State:
        """`good` only where nothing is wrong and nothing has to be taken on trust."""
        kinds = {finding.kind for finding in self.findings}
        return "wrong" if "wrong" in kinds else "unknown" if "unknown" in kinds else "good"


def verify_records(
    run_ids: Sequence[str],
    heads: Sequence[str],
    records: str | None,
    trusted: Path | None,
    *,
    as_json: bool,
) -> int:
    """Print every finding; 0 when good, 4 when that cannot be told from here, 6 when not whole."""
    with existing_records(records) as store:
        verified = _verified(store, run_ids, heads, trusted_keys(trusted))
    print_json(_document(verified)) if as_json else _print(verified)
    return EXIT_CODES[verified.state]


def _verified(
    store: SqlStore, run_ids: Sequence[str], heads: Sequence[str], trusted: TrustedKeys
) -> Verified:
    chosen = [meant(store, run_id) for run_id in run_ids]
    known = store.run_ids()
    for run_id in chosen:
        if run_id not in known:
            raise store.unknown_run_error(run_id)
    sealed = signers(seals(store.database), chosen)
    findings = [
        *audit(store, chosen),
        *_unknown_heads(store, heads),
        *untrusted_signers(sealed, trusted),
        *_changed_by_others(trusted),
    ]
    open_runs = [row["run_id"] for row in runs(store.database, Filter(verdict=CUT_SHORT))]
    return Verified(
        len(chosen or known),
        findings,
        sealed,
        [run_id for run_id in open_runs if not chosen or run_id in chosen],
        trusted,
    )


def _unknown_heads(store: SqlStore, heads: Sequence[str]) -> Iterator[AuditFinding]:
    for head in heads:
        if not has_head(store, head):
            yield AuditFinding(f"the hash {head} is not on record: an older copy, or another store")


def _changed_by_others(trusted: TrustedKeys) -> Iterator[AuditFinding]:
    if "change" in (access_of_others(trusted.path) or ""):
        what = f"others can change {trusted.path}, and with it whom you trust"
        yield AuditFinding(what, kind="warning")


def _document(verified: Verified) -> dict[str, object]:
    names = verified.trusted.names()
    return {
        "runs": verified.runs,
        "state": verified.state,
        "findings": [asdict(finding) for finding in verified.findings],
        "unsigned_runs": list(verified.open_runs),
        "keys": [
            {
                "fingerprint": signer.fingerprint,
                "trusted": signer.key in verified.trusted,
                "trusted_as": names.get(signer.key),
            }
            | asdict(signer)
            for signer in verified.signers
        ],
    }


def _print(verified: Verified) -> None:
    for finding in verified.findings:
        said = printable(f"{_SAID[finding.kind]}{finding}")
        out().print(Text(said, style=_STYLES[finding.kind]), soft_wrap=True)
    if verified.open_runs:
        named = ", ".join(map(printable, verified.open_runs))
        out().print(Text(f"Not finished, so signed by nobody: {named}"), soft_wrap=True)
    runs_ = f"{verified.runs} run{'' if verified.runs == 1 else 's'}"
    for line in _verdict(verified, runs_):
        out().print(line, soft_wrap=True)


def _verdict(verified: Verified, runs_: str) -> Iterator[str]:
    match verified.state:
        case "wrong":
            yield "Not whole: do not use as evidence what is named above; restore a copy."
        case "unknown":
            yield f"{runs_}: every hash and link holds; what is named is not known to be good."
        case "good":
            yield f"{runs_}: every hash, link and signature holds, each by a key trusted here."
    if any(signer.key not in verified.trusted for signer in verified.signers):
        yield (
            "Anybody can make a key. Compare its fingerprint with its owner, then: "
            "ohmwright record keys trust FINGERPRINT --name OWNER"
        )
