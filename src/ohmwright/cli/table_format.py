"""What the tables of a run share: their form, and a value with its uncertainty as text."""

from __future__ import annotations

from rich.table import Table

from ohmwright.model.result import Measured
from ohmwright.reports.text import decimals_of_uncertainty


def plain_table(title: str, *columns: str) -> Table:
    """Return a table without rules; no cell of `columns` is wrapped."""
    table = Table(
        title=title,
        title_justify="left",
        title_style="bold",
        box=None,
        pad_edge=False,
        padding=(0, 1, 0, 0),
    )
    for name in columns:
        table.add_column(name, no_wrap=True)
    return table


def value_with_uncertainty(measured: Measured) -> str:
    """Return value ± expanded uncertainty, to two digits of the latter (GUM 7.2.6).

    Value alone, to one decimal, where the result has no expanded uncertainty.
    """
    expanded, places = measured.expanded, decimals_of_uncertainty(measured.expanded)
    value = f"{measured.value:.{places}f}"
    return value if expanded is None or expanded <= 0 else f"{value} ± {expanded:.{places}f}"
