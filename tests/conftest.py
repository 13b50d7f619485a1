"""Folders of its own for every test; a real PostgreSQL for those that ask for one."""

import os
import shutil
import socket
import subprocess
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from uuid import uuid4

import pytest


@pytest.fixture(autouse=True)
def _own_user_folders(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where a user has data, keys and the memory of records."""
    home: Path = tmp_path_factory.mktemp("home")
    for name in ("DATA", "CONFIG", "STATE"):
        monkeypatch.setenv(f"XDG_{name}_HOME", str(home / name.lower()))
    monkeypatch.delenv("OHMWRIGHT_RECORDS", raising=False)


class Server:
    """A PostgreSQL server of the tests' own, in a folder of its own."""

    def __init__(self, bin_: Path, folder: Path) -> None:
        self._bin, self._folder = bin_, folder
        with closing(socket.create_server(("127.0.0.1", 0))) as free:
            self.port = free.getsockname()[1]
        if os.geteuid() == 0:
            shutil.chown(folder, "postgres")
        self._as_owner("initdb", "-D", "data", "-A", "trust", "-U", "ohm", "-N", "-E", "UTF8")
        self.start()

    def start(self) -> None:
        options = f"-p {self.port} -k {self._folder} -c listen_addresses=127.0.0.1"
        self._as_owner(*("pg_ctl", "-D", "data", "-w", "-l", "log", "-o", options, "start"))

    def stop(self, mode: str = "immediate") -> None:
        self._as_owner("pg_ctl", "-D", "data", "-w", "-m", mode, "stop")

    def url(self) -> str:
        """A new empty database."""
        name = f"d{uuid4().hex}"
        self._as_owner("createdb", "-h", "127.0.0.1", "-p", str(self.port), "-U", "ohm", name)
        return f"postgresql://ohm@127.0.0.1:{self.port}/{name}"

    def _as_owner(self, program: str, *arguments: str) -> None:
        command = [str(self._bin / program), *arguments]
        if os.geteuid() == 0:
            command = ["runuser", "-u", "postgres", "--", *command]
        subprocess.run(command, cwd=self._folder, check=True, stdout=subprocess.DEVNULL)


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    if not found:
        pytest.skip("PostgreSQL is not installed (Debian's package postgresql)")
    folder = Path("/tmp") / f"ohmwright-pg-{uuid4().hex[:8]}"  # short: it holds a socket
    folder.mkdir()
    server = Server(found[-1].parent, folder)
    try:
        yield server
    finally:
        server.stop()
        shutil.rmtree(folder)
