"""The command that goes on with a run: the one that was typed, with the run's number."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from shlex import quote

from ohmwright.model.typed_command import typed_command

from .run_report import GoOn


def command_to_go_on(
    command: str, procedure: Path | None, options: Mapping[str, str | Path | bool | None]
) -> GoOn:
    """Return what names the command for a run by its number.

    `options`: what was given besides, by option; None and False were not.
    """

    def of_run(run_id: str) -> str:
        named = [] if procedure is None else [quote(str(procedure))]
        return typed_command(" ".join([command, *named, *_typed({**options, "--resume": run_id})]))

    return of_run


def _typed(options: Mapping[str, str | Path | bool | None]) -> Iterator[str]:
    for name, said in options.items():
        if said is True:
            yield name
        elif said is not None and said is not False:
            yield f"{name} {quote(str(said))}"
