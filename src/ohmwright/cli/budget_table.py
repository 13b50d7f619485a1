"""The table of the uncertainty budgets of a run."""

from __future__ import annotations

from collections.abc import Iterable

from rich.table import Table
from rich.text import Text

from ohmwright.engine.measured_value import part_of_u
from ohmwright.model.result import AMPLE_DOF, Result
from ohmwright.reports.measurand_text import read_until_text
from ohmwright.reports.text import printable
from ohmwright.reports.uncertainty_text import correlation_text

from .table_format import plain_table, value_with_uncertainty


def budget_table(results: Iterable[Result]) -> Table:
    """Return every line of every budget: source, type, u in the unit of the value, dof, share.

    After the lines comes what the budget leaves out, wrapped where it is too long.
    """
    table = plain_table("Uncertainty budgets", "Step, point and line", "Type")
    table.columns[0].no_wrap = False
    for name in ("u", "dof", "%"):
        table.add_column(name, justify="right", no_wrap=True)
    for result in results:
        measured = result.measured
        if measured is None or not measured.budget:
            continue
        where = printable(f"{result.stage.replace('_', ' ')}, {result.step}, {result.point}")
        said = (value_with_uncertainty(measured), read_until_text([result]))
        table.add_row(Text(f"{where}: {'; '.join(filter(None, said))}", style="bold"))
        for line in measured.budget:
            share = (part_of_u(line, measured) / measured.uncertainty) ** 2
            table.add_row(
                f"  {printable(line.source)}",
                line.evaluation,
                f"{line.standard_uncertainty:.3g}",
                "inf" if line.dof is None else f"{line.dof:.1f}",
                f"{100 * share:.1f}",
            )
        table.add_row(
            f"  combined ({measured.propagation}), k = {measured.coverage_factor or 0:.2f}",
            "",
            f"{measured.uncertainty:.3g}",
            f"{measured.dof:.1f}" if measured.dof < AMPLE_DOF else "inf",
            "100",
        )
        if together := correlation_text([result]):
            table.add_row(f"  {together}")
        if measured.left_out:
            table.add_row(f"  left out: {printable(', '.join(measured.left_out))}")
    return table
