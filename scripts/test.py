"""Run every test.

scripts/test [OPTIONS]              pytest's options
python scripts/test.py [OPTIONS]    where there is no shell, as on Windows
"""

import os
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from scripts.setup import ROOT, VENV_PYTHON, run_in_venv, set_up

set_up("dev")
os.chdir(ROOT)
# hundreds of programs are started: each would compile all that it imports
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
# its threads wait by turning: beside other workers they only take their time
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
if not (ROOT / "tests" / "__pycache__").exists():  # else each worker would compile every test
    collect = [str(VENV_PYTHON), "-m", "pytest", "--collect-only", "--quiet"]
    subprocess.run(collect, stdout=subprocess.DEVNULL, check=False)
workers = str((os.cpu_count() or 1) + 2)  # two more: the tests in real time mostly wait
run_in_venv("-m", "pytest", "-n", workers, "--dist", "worksteal", *sys.argv[1:])
