"""Nothing is imported while RF is on: it would hold up the loop, deaf to signals."""

import subprocess
import sys

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
sys.argv = ["ohmwright", "demo", "--records", sys.argv[1], "--json"]
try:
    main()
finally:
    print(sorted(late), file=sys.stderr)
"""


def test_no_module_is_imported_during_an_activation(tmp_path) -> None:
    command = [sys.executable, "-c", _RUN, str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stderr.splitlines()[-1] == "[]"
