"""A whole job on a simulated unit, from nothing to a certificate (PDF and HTML beside the record).

scripts/demo [OPTIONS]              the options of `ohmwright demo`
python scripts/demo.py [OPTIONS]    where there is no shell, as on Windows
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from scripts.setup import run_in_venv, set_up

set_up()
run_in_venv("-m", "ohmwright", "demo", *sys.argv[1:])
