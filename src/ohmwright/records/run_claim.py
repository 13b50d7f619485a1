"""A run claimed for writing: its lease, and where its chain of events ends."""

from __future__ import annotations

from typing import NamedTuple

from sqlalchemy import Connection, select

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.model.typed_command import typed_command
from ohmwright.wire.clock import RealClock

from .addendum import is_voided
from .canonical_json import sha256_digest
from .flat_rows import Row
from .lease import RENEW_AFTER_S, LeaseHolder, take_lease
from .ledger import end_of_run, is_finished, is_handed_over
from .run_reader import find_run
from .tables import EVENTS
from .witness_file import ChainPosition


class ChainEnd(NamedTuple):
    """Where the chain of a run ends, as far as this program has written or read it."""

    run: Row
    """The run's row in the table of runs."""
    newest: ChainPosition
    """The last event, or the opening, as the witness remembers it."""
    operator: str
    renew_at_s: float
    """Time of the real clock from which the lease has to be renewed."""


def chain_end(run: Row, events: int, head: bytes) -> ChainEnd:
    """The end of a run whose lease was taken just now."""
    newest = ChainPosition(events, head, run["run_id"])
    return ChainEnd(run, newest, run["operator"], RealClock().now_s() + RENEW_AFTER_S)


def claim_run(connection: Connection, run_id: str, holder: LeaseHolder) -> ChainEnd | None:
    """Take the lease of a run on record and return where it ends; None when there is no such run.

    Raises UsageError for a run that is finished or void, or that another program has.
    """
    run = find_run(connection, run_id)
    if run is None:
        return None
    if is_finished(connection, run["number"]):
        raise UsageError(
            f"Run {run_id} cannot be resumed: it is finished and sealed.",
            do="Start a new run. For another computer: "
            + typed_command(f"record export FILE {run_id}"),
        )
    if is_voided(end_of_run(connection, run["number"])[1]):
        raise UsageError(
            f"Run {run_id} cannot be resumed: it is void.",
            do="Start a new run, or: " + typed_command(f"record reinstate {run_id} --reason WHY"),
        )
    if is_handed_over(connection, run["number"]):
        raise UsageError(
            f"Run {run_id} cannot be resumed here: it was handed over to another computer.",
            "If both went on with it, one of the two would be lost.",
            f"Go on with it there; '{typed_command('record import FILE')}' brings it back. If "
            f"what was handed over is lost: {typed_command(f'record take-back {run_id}')}",
        )
    take_lease(connection, run["number"], run_id, holder)
    last = select(EVENTS.c.number, EVENTS.c.hash).where(EVENTS.c.run == run["number"])
    end = connection.execute(last.order_by(EVENTS.c.number.desc()).limit(1)).first()
    return chain_end(run, *((0, sha256_digest(run["opening"])) if end is None else end))


def renew_claim(connection: Connection, end: ChainEnd, holder: LeaseHolder, place: str) -> ChainEnd:
    """Renew the lease of a run. Raises RecordError where the run no longer ends at `end`."""
    found = claim_run(connection, end.run["run_id"], holder)
    if found is None or found.newest != end.newest:
        show = typed_command(f"record show {end.run['run_id']}")
        raise RecordError(
            f"{place}: another program has written to the same run.",
            "It was taken over while nothing was written here for a long time.",
            f"See what is on record with '{show}', then resume the run.",
        )
    return found._replace(operator=end.operator)
