"""Who works on a run: a lease, so that two benches never write to one."""

from __future__ import annotations

import os
import socket
from dataclasses import dataclass

from sqlalchemy import Connection, delete, insert, select, text

from ohmwright.model.account import account_name
from ohmwright.model.errors import UsageError
from ohmwright.wire.clock import RealClock

from .ledger import alone
from .tables import LEASES

LASTS_S = 900.0
RENEWED_AFTER_S = LASTS_S / 3


@dataclass(frozen=True)
class Holder:
    """One program on one computer."""

    host: str
    pid: int
    name: str

    @classmethod
    def here(cls) -> Holder:
        """This program."""
        host = socket.gethostname()
        return cls(host, os.getpid(), f"{account_name()} on {host}, process {os.getpid()}")


def take(connection: Connection, run: int, run_id: str, me: Holder) -> None:
    """Take or renew the lease of run number `run`.

    A lease that is over, or whose program on this computer is gone, can be taken. Raises
    UsageError naming the holder of one that cannot.
    """
    alone(connection)
    now_s = _now_s(connection)
    row = connection.execute(select(LEASES).where(LEASES.c.run == run)).first()
    if row is not None and row.until_s > now_s and _works(row.host, row.pid, me):
        raise UsageError(
            f"Run {run_id} is in the hands of {row.holder}.",
            "Two benches that write to one run would spoil its record.",
            f"Let that bench finish; its hold ends in {(row.until_s - now_s) / 60:.0f} min "
            "when it writes nothing more.",
        )
    release(connection, run)
    holder = {"host": me.host, "pid": me.pid, "holder": me.name}
    connection.execute(insert(LEASES), [{"run": run, "until_s": now_s + LASTS_S} | holder])


def release(connection: Connection, run: int) -> None:
    """Give the lease up."""
    connection.execute(delete(LEASES).where(LEASES.c.run == run))


def _now_s(connection: Connection) -> float:
    """The server's time where there is one: the clocks of benches differ."""
    if connection.dialect.name == "postgresql":
        now = connection.execute(text("SELECT extract(epoch FROM clock_timestamp())")).scalar_one()
        return float(now)
    return RealClock().wall().timestamp()


def lives(pid: int) -> bool:
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


def _works(host: str, pid: int, me: Holder) -> bool:
    """Whether another program has it: not we, and none of this computer that has ended."""
    if host != me.host or os.name != "posix":
        return (host, pid) != (me.host, me.pid)
    return pid != me.pid and lives(pid)
