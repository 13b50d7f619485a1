"""The entry point of `ohmwright` and `python -m ohmwright`; a failing import is reported, too."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line and exit; a failing import ends with its message and exit code."""
    try:
        from ohmwright.cli.main import main as run
    except Exception as problem:
        from ohmwright.cli.error_report import report_error

        sys.exit(report_error(problem))
    run()


if __name__ == "__main__":
    main()
