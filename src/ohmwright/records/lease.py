"""Leases: which program writes to a run, so that two benches never write to the same one."""

from __future__ import annotations

import os
import socket
from dataclasses import dataclass

from sqlalchemy import Connection, delete, insert, select, text

from ohmwright.model.account import account_name
from ohmwright.model.errors import UsageError
from ohmwright.wire.clock import RealClock

from .ledger import lock_ledger
from .tables import LEASES

LEASE_S = 900.0
RENEW_AFTER_S = LEASE_S / 3


@dataclass(frozen=True)
class LeaseHolder:
    """A program on a computer that holds leases."""

    host: str
    pid: int
    name: str

    @classmethod
    def this_program(cls) -> LeaseHolder:
        """This program on this computer."""
        host = socket.gethostname()
        return cls(host, os.getpid(), f"{account_name()} on {host}, process {os.getpid()}")


def take_lease(connection: Connection, run: int, run_id: str, me: LeaseHolder) -> None:
    """Take or renew the lease of run number `run`.

    A lease that is over can be taken, as can one whose program on this computer has ended. Raises
    UsageError naming the holder of any other.
    """
    lock_ledger(connection)
    now_s = _now_s(connection)
    row = connection.execute(select(LEASES).where(LEASES.c.run == run)).first()
    if row is not None and row.until_s > now_s and _is_held_by_another(row.host, row.pid, me):
        raise UsageError(
            f"Run {run_id} is in the hands of {row.holder}.",
            "Two benches that write to one run would spoil its record.",
            f"Let that bench finish; its hold ends in {(row.until_s - now_s) / 60:.0f} min "
            "when it writes nothing more.",
        )
    release_lease(connection, run)
    holder = {"host": me.host, "pid": me.pid, "holder": me.name}
    connection.execute(insert(LEASES), [{"run": run, "until_s": now_s + LEASE_S} | holder])


def release_lease(connection: Connection, run: int) -> None:
    """Delete the lease of run number `run`."""
    connection.execute(delete(LEASES).where(LEASES.c.run == run))


def _now_s(connection: Connection) -> float:
    """Time in s since 1970, of the database server where there is one: clocks of benches differ."""
    if connection.dialect.name == "postgresql":
        now = connection.execute(text("SELECT extract(epoch FROM clock_timestamp())")).scalar_one()
        return float(now)
    return RealClock().wall().timestamp()


def process_runs(pid: int) -> bool:
    """Whether a process of this computer has this number; False where that cannot be asked."""
    if os.name != "posix" or pid <= 0:
        return False
    try:
        os.kill(pid, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:  # it is another user's
        pass
    return True


def _is_held_by_another(host: str, pid: int, me: LeaseHolder) -> bool:
    """Whether another program has it, and is not one of this computer that has ended."""
    if host != me.host or os.name != "posix":
        return (host, pid) != (me.host, me.pid)
    return pid != me.pid and process_runs(pid)
