"""The program, as `ohmwright` and as `python -m ohmwright`.

Imports nothing that could fail before it can tell of it.
"""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line; a program that cannot even be imported says so, with its code."""
    try:
        from ohmwright.cli.main import main as run
    except Exception as problem:
        from ohmwright.cli.telling import told

        sys.exit(told(problem))
    run()


if __name__ == "__main__":
    main()
