"""The result of checking records, and the exit code that says so."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from ohmwright.model.errors import RecordError
from ohmwright.records.audit_finding import AuditFinding
from ohmwright.records.flat_rows import Row
from ohmwright.records.issued_papers import CheckedFile, FileState
from ohmwright.records.signed_contents import UnhashedEntries
from ohmwright.records.trust import Signer, TrustedKeys
from ohmwright.records.witness_file import ChainPosition

StoreState = Literal["good", "unknown", "wrong"]
EXIT_CODES: dict[StoreState, int] = {"good": 0, "unknown": 4, "wrong": RecordError.exit_code}
_OF_FILES: dict[FileState, StoreState] = {
    "in force": "good",
    "no longer in force": "unknown",
    "not a certificate": "unknown",
    "unknown": "unknown",
    "changed": "wrong",
}


@dataclass(frozen=True)
class StoreCheck:
    """The result of checking a store."""

    runs: int
    findings: Sequence[AuditFinding]
    signers: Sequence[Signer]
    open_runs: Sequence[str]
    """Ids of runs that are not finished and so not signed."""
    trusted: TrustedKeys
    newest: ChainPosition
    """The newest entry of the ledger."""
    seen_before: bool
    """Whether this computer had seen the store before, so that an end that was cut off shows."""
    files: Sequence[CheckedFile] = ()
    """What the files are that were asked for."""
    heads: Mapping[str, Sequence[str]] = field(default_factory=dict[str, Sequence[str]])
    """By each hash that was asked for and is on record, the runs that have it."""
    runs_of_heads: Sequence[Row] = ()
    """The rows of these runs, each with its verdict."""
    values: Mapping[str, int] = field(default_factory=dict[str, int])
    """How many values were computed once more, under ''; how many not, under the reason."""
    named: Mapping[str, Sequence[str]] = field(default_factory=dict[str, Sequence[str]])
    """The first of these values, by the reason."""
    refused: Collection[str] = frozenset()
    """Ids of runs that were refused: they measured nothing, and there is nothing to sign."""
    unhashed: UnhashedEntries = field(default_factory=UnhashedEntries)
    """What there is beside the runs, which no check of hashes reaches."""

    @property
    def of_records(self) -> StoreState:
        """What the records are, whatever files were asked for."""
        return _worst({"good" if f.kind == "warning" else f.kind for f in self.findings})

    @property
    def state(self) -> StoreState:
        """The worst of the records and of each file."""
        return _worst({self.of_records, *(_OF_FILES[file.state] for file in self.files)})


def _worst(states: Collection[StoreState]) -> StoreState:
    return "wrong" if "wrong" in states else "unknown" if "unknown" in states else "good"
