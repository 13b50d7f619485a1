"""Forks an engine for each command on standard input; says its process number, then its end."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import traceback
from collections.abc import Callable
from types import ModuleType
from typing import Any, NoReturn

import alembic.command
import anyio._backends._asyncio as anyio_backend
import scipy.special
import sqlalchemy.dialects.sqlite
from cryptography.hazmat.primitives.asymmetric import ed25519

from ohmwright.api import open_bench
from ohmwright.cli import (
    console,
    live,
    main,
    run_and_record,
    run_command,
    verify_command,
)
from ohmwright.cli.open_records import open_existing_records
from ohmwright.model.event import ActivationClosed, Fault
from ohmwright.wire import clock, machine_time

from .mutate import MUTATIONS, replace

GAP_S = 1.2
"""Shorter than what the guard was promised: only the engine can notice."""
WARM: tuple[ModuleType, ...] = (
    *(console, run_and_record, live, open_bench, run_command),
    *(alembic.command, anyio_backend, ed25519, scipy.special, sqlalchemy.dialects.sqlite),
)
"""Imported before the first fork, as every engine needs them."""
WITHOUT_GUARD = """
from ohmwright.wire.guard.port_release import PortRelease
PortRelease.switch_off = lambda self: True  # mutation: a guard that does nothing
from ohmwright.wire.guard import process
process.main()
"""


class UselessGuard(subprocess.Popen[bytes]):
    """Starts a guard that does nothing."""

    def __init__(self, command: list[str], **options: Any) -> None:
        if "ohmwright.wire.guard.process" in command:
            command = [sys.executable, "-c", WITHOUT_GUARD]
        super().__init__(command, **options)


def _closed(records: str, code: int) -> int:
    """0 where the newest run ends in the fault that exit code `code` means, and verifies."""
    with open_existing_records(records) as store:
        run_id = store.run_ids()[-1]
        last = store.events(run_id)[-1]
    if not isinstance(last, Fault):
        return 1
    meant = 4 if last.error == "Stopped" else 3
    if code != (5 if last.rf_state == "unknown" else meant):
        return 2
    nothing = verify_command.Shown()
    return verify_command.verify_records([run_id], nothing, records, None, as_json=False)


def _newest(records: str) -> int:
    with open_existing_records(records) as store:
        print(store.run_ids()[-1])
    return 0


def _last_on_s(records: str) -> int:
    with open_existing_records(records) as store:
        events = store.events(store.run_ids()[-1])
    for event in [event for event in events if isinstance(event, ActivationClosed)][-1:]:
        print(event.on_s)
    return 0


def _fault(records: str) -> int:
    with open_existing_records(records) as store:
        last = store.events(store.run_ids()[-1])[-1]
    print(last.error if isinstance(last, Fault) else "")
    return 0


ASKED: dict[str, Callable[[str], int]] = {
    "newest": _newest,
    "on_s": _last_on_s,
    "fault": _fault,
}


def _sleepy() -> None:
    """Let signals stand for `GAP_S` of sleep that this engine's machine wakes from.

    USR1: its clock counted the sleep, and it can tell of it; USR2: its clock stood still.
    """
    real_s, asleep_s, stood_still_s = machine_time.elapsed_s, 0.0, 0.0

    def told(*_: object) -> None:
        nonlocal asleep_s
        asleep_s += GAP_S

    def untold(*_: object) -> None:
        nonlocal stood_still_s
        stood_still_s += GAP_S

    replace(clock, "elapsed_s", lambda: real_s() - stood_still_s)
    replace(clock, "asleep_s", lambda: asleep_s)
    signal.signal(signal.SIGUSR1, told)
    signal.signal(signal.SIGUSR2, untold)


def _engine(command: list[str], said: str) -> NoReturn:
    os.setpgid(0, 0)
    output = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for number in (1, 2):
        os.dup2(output, number)
    os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
    code = 70
    try:
        if command[0] == "closed":
            code = _closed(command[1], int(command[2]))
        elif command[0] in ASKED:
            code = ASKED[command[0]](command[1])
        else:
            _sleepy()
            sys.argv = ["ohmwright", *command]
            main.main()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 0
    except BaseException:
        traceback.print_exc()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(code)


def serve(said: str, mutate: str) -> None:
    """Until standard input ends."""
    if mutate == "guard":
        replace(subprocess, "Popen", UselessGuard)
    elif mutate:
        MUTATIONS[mutate]()
    print("ready", flush=True)
    while line := sys.stdin.readline():
        pid = os.fork()
        if pid == 0:
            _engine(json.loads(line), said)
        os.setpgid(pid, pid)
        print(pid, flush=True)
        print(os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1]), flush=True)


if __name__ == "__main__":
    serve(sys.argv[1], sys.argv[2])
