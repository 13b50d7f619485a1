"""The program, as `ohmwright` and as `python -m ohmwright`.

Imports nothing that could fail before it can tell of it.
"""

from __future__ import annotations


def main() -> None:
    """Run the command line; a program that cannot even be imported says so, with its code."""
    try:
        from ohmwright.cli.main import main as run
    except Exception as problem:
        from ohmwright.cli.telling import end_with

        end_with(problem)
    run()


if __name__ == "__main__":
    main()
