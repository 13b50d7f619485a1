"""The command line called in process, as a person calls it."""

import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from ohmwright.cli import console
from ohmwright.cli.main import main
from ohmwright.cli.open_records import open_records


@dataclass(frozen=True)
class Outcome:
    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        return json.loads(self.out)


@pytest.fixture
def ohmwright(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Callable[..., Outcome]:
    def call(*arguments: object) -> Outcome:
        console.out.cache_clear()
        console.err.cache_clear()
        monkeypatch.setattr(sys, "argv", ["ohmwright", *map(str, arguments)])
        with pytest.raises(SystemExit) as ended:
            main()
        captured = capsys.readouterr()
        code = ended.value.code
        return Outcome(code if isinstance(code, int) else 0, captured.out, captured.err)

    return call


@pytest.fixture
def procedure(tmp_path: Path) -> Path:
    path = tmp_path / "quick.toml"
    path.write_text(
        """\
title = "Quick check"
revision = "1"
model = "Quillon 300"

[defaults]
rest_s = 5
max_on_s = 18

[[step]]
kind = "power_curve"
name = "cut"
mode = "cut"
setting_w = 310
loads_ohm = [100, 500]
power_w = [81.0, 305.6]
tolerance = { percent = 5 }
""",
        encoding="utf-8",
    )
    return path


@pytest.fixture
def cut_short() -> Callable[[Path, str, str], None]:
    """Put a store in place that holds a run only up to its first event of a kind."""

    def cut(records: Path, run: str, after: str) -> None:
        with open_records(str(records)) as store:
            events = store.events(run)
            store.witness.ends.path.unlink(missing_ok=True)  # nobody saw how the run went on
        for path in records.glob("records.sqlite*"):
            path.unlink()
        end = next(n for n, event in enumerate(events, start=1) if event.kind == after)
        with open_records(str(records)) as store:
            store.append_all(run, events[:end])

    return cut


@contextmanager
def simulated(tmp_path: Path, *options: str) -> Iterator[Path]:
    """A simulated bench in another process; the bench file that reaches it."""
    bench = tmp_path / "served.toml"
    command = [sys.executable, "-c", "from ohmwright.cli.main import main; main()", "simulate"]
    server = subprocess.Popen(
        [*command, *options, "--write-bench", str(bench)], stdout=subprocess.DEVNULL
    )
    try:
        end_s = time.monotonic() + 120  # the machine may be busy
        while not bench.exists() and server.poll() is None and time.monotonic() < end_s:
            time.sleep(0.02)
        yield bench
    finally:
        server.terminate()
        assert server.wait(timeout=60) == 0
