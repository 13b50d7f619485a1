"""Nothing is imported while RF is on: it would hold up the loop, deaf to signals."""

import subprocess
import sys
from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped

_RUN = """
import sys
from contextlib import asynccontextmanager
from ohmwright.cli.main import main
from ohmwright.engine import session

activation, late = session.activation, set()

@asynccontextmanager
async def watched(*args, **options):
    before = set(sys.modules)
    async with activation(*args, **options) as opened:
        yield opened
    late.update(set(sys.modules) - before)

session.activation = watched
sys.argv = ["ohmwright", *sys.argv[1:], "--json"]
try:
    main()
finally:
    print(sorted(late), file=sys.stderr)
"""


DEMO = ("--bench", str(shipped("benches", "demo.toml")))
JOB = ("calibrate", str(shipped("procedures", "demo-monopolar.toml")), *DEMO, "--records", ".")
SWEEP = ("sweep", *DEMO, "--mode", "cut", "--settings", "100", "--loads", "500")


@pytest.mark.parametrize("words", [JOB, SWEEP], ids=["job", "sweep"])
def test_no_module_is_imported_during_an_activation(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    command = [sys.executable, "-c", _RUN, *words]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stderr.splitlines()[-1] == "[]"
