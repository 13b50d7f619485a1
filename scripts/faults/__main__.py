"""`python scripts/faults`: see `harness.py`."""

import sys

from scripts.faults.harness import main

if __name__ == "__main__":
    sys.exit(main())
