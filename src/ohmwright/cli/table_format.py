"""What the tables of a run share: their form, wide or narrow, and a value with its uncertainty."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ohmwright.model.result import Measured
from ohmwright.reports.text import decimals_of_uncertainty

from .console import out


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


def as_it_fits(table: Table) -> RenderableType:
    """Return `table`, or its cells one below another where the terminal is too narrow for it."""
    return table if fits(table) else one_below_another(table)


def fits(table: Table) -> bool:
    """Whether the terminal has room for every column in full."""
    unbounded = out().options.update(max_width=1000)
    return out().measure(table, options=unbounded).maximum <= out().width


def with_whole_words(table: Table) -> RenderableType:
    """Return `table` where no word of it is cut, else its cells one below another.

    A tag, number or date that has lost its end is another one, or none.
    """
    for column in table.columns:
        column.overflow = "ellipsis"
        column.no_wrap = column.no_wrap or column.justify == "right"
    lines = out().render_lines(table, pad=False)
    is_cut = any("…" in part.text for line in lines for part in line)
    return one_below_another(table) if is_cut else table


def one_below_another(table: Table) -> Group:
    """Return the cells of `table` as lines, for a terminal that is too narrow for its columns.

    Each cell follows the heading of its column, in a line of its own below the row's first one. A
    cell whose column has no heading stands in the line before, and so do all of a row whose first
    one is bold: it tells of the rows below it.
    """
    lines = [] if table.title is None else [Text(str(table.title), style="bold")]
    headings = [str(column.header) for column in table.columns][1:]
    for first, *others in zip(*(column.cells for column in table.columns), strict=True):
        begin = _words(first)
        lines.append(begin)
        for heading, cell in zip(headings, map(_words, others), strict=True):
            if heading == "" or begin.style == "bold":
                lines[-1] = Text.assemble(lines[-1], " " if cell else "", cell)
            elif cell:
                lines.append(Text.assemble(f"    {heading}: ", cell))
    return Group(*lines)


def _words(cell: RenderableType) -> Text:
    return cell if isinstance(cell, Text) else Text(str(cell))


def value_with_uncertainty(measured: Measured) -> str:
    """Return value ± expanded uncertainty, to two digits of the latter (GUM 7.2.6).

    Value alone, to one decimal, where the result has no expanded uncertainty.
    """
    expanded, places = measured.expanded, decimals_of_uncertainty(measured.expanded)
    value = f"{measured.value:.{places}f}"
    return value if expanded is None or expanded <= 0 else f"{value} ± {expanded:.{places}f}"
