"""Warnings where runs of a store by one analyzer certificate name different analyzers."""

from __future__ import annotations

import json
from collections.abc import Iterator

from sqlalchemy import Connection, select

from .audit_finding import AuditFinding
from .tables import EVENTS, RUNS


def analyzers_of_one_certificate(connection: Connection) -> Iterator[AuditFinding]:
    """A warning for each real run whose analyzer is not that of the run before by its certificate.

    A certificate is of one analyzer. Its last field, the firmware, may change; simulated analyzers
    have another serial number with each seed, and are left out.
    """
    query = (
        select(RUNS.c.run_id, EVENTS.c.body)
        .join(RUNS, RUNS.c.number == EVENTS.c.run)
        .where(EVENTS.c.number == 1, RUNS.c.simulated == 0)
        .order_by(RUNS.c.number)
    )
    seen: dict[str, tuple[str, str]] = {}
    for run_id, body in connection.execute(query):
        found = _certificate_and_analyzer(body)
        if found is None:
            continue
        certificate, analyzer = found
        before, named = seen.get(certificate, (run_id, analyzer))
        seen[certificate] = run_id, analyzer
        if _without_firmware(named) != _without_firmware(analyzer):
            yield AuditFinding(
                f"by certificate {certificate} its analyzer is '{analyzer}', and in run {before} "
                f"'{named}': one of the two is not the analyzer that was calibrated",
                run_id,
                1,
                "warning",
            )


def _certificate_and_analyzer(body: bytes) -> tuple[str, str] | None:
    """What the first event of a run names; None for one without a certificate, or damaged."""
    try:
        first = json.loads(body)
        basis = first["traceability"]
        return f"{basis['certificate']} of {basis['laboratory']}", str(first["analyzer"])
    except (ValueError, KeyError, TypeError, RecursionError):  # damage is told by other checks
        return None


def _without_firmware(identity: str) -> str:
    return identity.rpartition(",")[0] or identity
