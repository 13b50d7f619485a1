"""The command `guide`: a page of the guide, formatted at a terminal, as Markdown in a pipe."""

from __future__ import annotations

import os
from contextlib import AbstractContextManager, nullcontext
from difflib import get_close_matches

from rich.console import RenderableType
from rich.markdown import Markdown
from rich.table import Table

from ohmwright.guide import TOPICS, page, summary
from ohmwright.model.errors import UsageError

from .console import out

_WIDEST = 100
"""Longer lines are hard to read, however wide the terminal is."""


def show_guide(topic: str | None) -> int:
    """Print the page on `topic`, or the list of topics; return 0. Raises UsageError if unknown."""
    if topic is None:
        _show_topics()
    elif topic not in TOPICS:
        near = get_close_matches(topic, TOPICS, n=1)
        nearest = f"; the nearest is '{near[0]}'" if near else ""
        raise UsageError(
            f"The guide has no topic '{topic}'{nearest}.", do=f"Topics are {', '.join(TOPICS)}."
        )
    elif out().is_terminal:
        _show(Markdown(page(topic), code_theme="ansi_dark"))
    else:
        out().out(page(topic), end="")
    return 0


def _show_topics() -> None:
    table = Table.grid(padding=(0, 2, 0, 0))
    for topic in TOPICS:
        table.add_row(topic, summary(topic))
    out().print(table)
    out().print("'ohmwright guide TOPIC' shows one.")


def _show(text: RenderableType) -> None:
    """Print `text`, through a pager where it is longer than the screen."""
    width = min(out().width, _WIDEST)
    options = out().options.update(width=width)
    with _pager() if len(out().render_lines(text, options)) >= out().height else nullcontext():
        out().print(text, width=width)


def _pager() -> AbstractContextManager[object]:
    os.environ.setdefault("LESS", "-R")  # else `less` shows the codes of bold type as they are
    return out().pager(styles=not out().legacy_windows)
