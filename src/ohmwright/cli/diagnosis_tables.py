"""The tables of what was diagnosed from the power curves as found."""

from __future__ import annotations

from collections.abc import Sequence

from rich.table import Table
from rich.text import Text

from ohmwright.model.event import CurveDiagnosed
from ohmwright.reports.text import printable

from .table_format import plain_table

_STYLES = {True: "bold yellow", False: "dim"}


def diagnosis_tables(diagnoses: Sequence[CurveDiagnosed]) -> list[Table]:
    """Return the tables that have something to say: none without a diagnosis."""
    gains = [sense_gains_table(diagnoses)] if diagnoses else []
    has_moves = any(event.first_moves for event in diagnoses)
    return [*gains, *([first_moves_table(diagnoses)] if has_moves else [])]


def sense_gains_table(diagnoses: Sequence[CurveDiagnosed]) -> Table:
    """Return the sense gains diagnosed from the as-found curves: error and 2 u, in percent.

    A gain is said to be drifted where that is likelier than not and it is off by more than 2 u.
    """
    table = plain_table("Diagnosed from the curves as found", "Mode", "The unit's sensor")
    for name in ("Off %", "± (k=2)"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("")
    for event in diagnoses:
        for gain in event.gains:
            off, spread = 100 * (gain.gain - 1), 200 * gain.uncertainty
            seen = gain.drifted > 0.5 and abs(off) > spread
            drifted = Text("DRIFTED" if seen else "within its ±", style=_STYLES[seen])
            table.add_row(
                printable(event.mode), gain.sense, f"{off:+z.1f}", f"{spread:.1f}", drifted
            )
    return table


def first_moves_table(diagnoses: Sequence[CurveDiagnosed]) -> Table:
    """Return the current error expected at each adjustment point, with 2 u, both in percent.

    With the first move in counts where the fleet prior has a gain of the trim.
    """
    moves = [move for event in diagnoses for move in event.first_moves]
    taught = any(move.counts is not None for move in moves)
    table = plain_table("Expected at the adjustment points", "Point")
    for name in ("Current off %", "± (k=2)", *(["First counts"] if taught else [])):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("")
    for move in moves:
        wanted = move.worthwhile and move.counts is not None
        counts = [f"{move.counts:+d}" if wanted else ""] if taught else []
        judged = "adjust" if move.worthwhile else "likely good"
        off, spread = 100 * move.off, 200 * move.uncertainty
        table.add_row(printable(move.point), f"{off:+z.1f}", f"{spread:.1f}", *counts, judged)
    return table
