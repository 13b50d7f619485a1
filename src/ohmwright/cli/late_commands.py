"""Groups of commands that are imported and made only when one of them is asked for.

Typer makes each command out of its signature, which for all of them takes longer than most of what
is called; a group's own line in the list of commands needs none of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cached_property
from typing import Any

import typer
from typer.core import TyperGroup


def late_group(name: str, imported: Callable[[], typer.Typer], about: str) -> TyperGroup:
    """Return the group `name` of the commands that `imported` returns once it is called.

    `about`: what the group is for, one sentence.
    """
    commands: Any = _LateCommands(imported)  # any mapping will do, though typer's hint says dict
    return TyperGroup(
        name=name, help=about, commands=commands, no_args_is_help=True, rich_markup_mode=None
    )


class _LateCommands(Mapping[str, Any]):
    """Commands by name, made when one is looked for."""

    def __init__(self, imported: Callable[[], typer.Typer]) -> None:
        self._imported = imported

    @cached_property
    def _made(self) -> Mapping[str, Any]:
        return typer.main.get_group(self._imported()).commands

    def __getitem__(self, name: str) -> Any:
        return self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._made)

    def __len__(self) -> int:
        return len(self._made)
