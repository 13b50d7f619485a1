"""A PostgreSQL server of one's own, from Debian's package, in a folder of its own."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
from contextlib import closing
from pathlib import Path
from tempfile import mkdtemp


def installed() -> Path | None:
    """Where the server's programs are; None where the package is missing."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    return found[-1].parent if found else None


class Server:
    """Started when made; `remove` stops it and takes its folder away."""

    def __init__(self, programs: Path) -> None:
        self._programs = programs
        self._folder = Path(mkdtemp(prefix="ohmwright-pg-", dir="/tmp"))  # short: holds a socket
        with closing(socket.create_server(("127.0.0.1", 0))) as free:
            self.port = free.getsockname()[1]
        if os.geteuid() == 0:
            shutil.chown(self._folder, "postgres")
        self._run("initdb", "-D", "data", "-A", "trust", "-U", "ohm", "-N", "-E", "UTF8")
        self.start()

    def start(self) -> None:
        """Start it and wait until it answers."""
        # a process that is killed loses nothing that the kernel has: no need to wait for the disk
        options = f"-p {self.port} -k {self._folder} -c listen_addresses=127.0.0.1 -c fsync=off"
        self._run("pg_ctl", "-D", "data", "-w", "-l", "log", "-o", options, "start")

    def stop(self, mode: str = "immediate") -> None:
        """Stop it; `immediate` is what a crash does."""
        self._run("pg_ctl", "-D", "data", "-w", "-m", mode, "stop")

    def url(self) -> str:
        """Where its one database is, emptied: a new one each time would be 300 files more."""
        where = ("-h", "127.0.0.1", "-p", str(self.port), "-U", "ohm", "-d", "postgres")
        empty = "DROP SCHEMA IF EXISTS public CASCADE; CREATE SCHEMA public"
        self._run("psql", *where, "-q", "-c", "SET client_min_messages = warning", "-c", empty)
        return f"postgresql://ohm@127.0.0.1:{self.port}/postgres"

    def remove(self) -> None:
        """Stop it and leave nothing behind."""
        self.stop()
        shutil.rmtree(self._folder)

    def _run(self, program: str, *arguments: str) -> None:
        command = [str(self._programs / program), *arguments]
        if os.geteuid() == 0:  # the server refuses to run as root
            command = ["runuser", "-u", "postgres", "--", *command]
        subprocess.run(command, cwd=self._folder, check=True, stdout=subprocess.DEVNULL)
