"""The fleet report in words: its tables and pictures, for PDF and HTML."""

from __future__ import annotations

from io import StringIO
from typing import TYPE_CHECKING

from ohmwright.fleet.creep_plot import plot_creep
from ohmwright.fleet.creep_table import UnitCreep, unit_creep
from ohmwright.fleet.fleet_review import Failure, FleetReview
from ohmwright.fleet.surprise_chart import RULES, SurpriseChart, plot_surprises, surprise_charts
from ohmwright.model.quantity import unit_of
from ohmwright.reports.table_paper import PaperPicture, PaperTable, TablePaper
from ohmwright.reports.text import fixed_decimals, percent_text, printable

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from .fleet_report import FleetReport

_RISKY = 0.1
_FEW_TRIMS = 2
_SIMULATED = "Simulated units and instruments: no evidence about any real unit."
_NOTES = (
    "As found: the visits whose unit failed a point before anything was adjusted, with limits of "
    "95 % confidence (Wilson).",
    "Out now, out in a year: probability that the true value of the unit's riskiest point lies "
    "outside its limits then, by the creep of the unit and of its model; 10 % on: when that of any "
    "of its points reaches 10 %. Steps by repairs that nobody put on record are allowed for by "
    "their usual frequency, and cannot be foretold.",
    "A forecast is no measurement. Whether a unit may be used is decided by its maker's service "
    "manual, local codes and qualified staff.",
)


def fleet_paper(report: FleetReport) -> TablePaper:
    """Return the paper of a report."""
    span, review = report.span, report.review
    charts = surprise_charts(report.forecast, span.since)
    of = f"Campaign {printable(span.campaign)}, " if span.campaign else ""
    return TablePaper(
        title="Fleet report",
        subtitle=f"{of}{span.since:%Y-%m-%d} to before {span.until:%Y-%m-%d}",
        simulated=_SIMULATED if span.simulated else "",
        facts=_facts(report),
        tables=(
            _models(review),
            _failures(review.failures),
            _adjusted(review),
            _recurring(review),
            _due(report),
            _look_at(report, charts),
        ),
        pictures=tuple(_pictures(report, charts)),
        notes=_NOTES,
    )


def _facts(report: FleetReport) -> tuple[tuple[str, str], ...]:
    review = report.review
    failed, visits = sum(m.failed for m in review.models), sum(m.visits for m in review.models)
    risky = sum(unit.riskiest.risk >= _RISKY for unit, _ in report.due())
    return (
        ("Units seen", str(sum(model.units for model in review.models))),
        ("Visits", str(visits)),
        ("Failed as found", f"{failed} of {visits}"),
        ("With adjustment", str(len(review.adjusted))),
        ("Points that recur", str(len(review.recurring))),
        ("At risk now", f"{risky} units of 10 % or more"),
    )


def _models(review: FleetReview) -> PaperTable:
    rows = []
    for model in review.models:
        limits = model.failure_limits
        share = f"{100 * model.failed / model.visits:.1f} %" if model.visits else ""
        bounds = f"{100 * limits.lower:.1f} to {100 * limits.upper:.1f} %"
        counts = (model.units, model.visits, model.failed)
        after = (model.adjusted, model.not_passed_as_left)
        rows.append((printable(model.model), *map(str, counts), share, bounds, *map(str, after)))
    note = "Visits that failed as found, with adjustment, and that left the unit without a pass."
    counted = ("Units", "Visits", "Failed", "Share", "95 % limits", "Adjustment", "Not passed")
    columns = ("Model", *counted)
    return PaperTable("Models", note, columns, tuple(rows), figures=7)


def _failures(failures: tuple[Failure, ...]) -> PaperTable:
    rows = tuple(
        (
            f"{one.at:%Y-%m-%d}",
            printable(one.asset),
            printable(one.model),
            printable(f"{one.step} {one.point}"),
            f"{one.value:.4g}",
            _limits(one),
            fixed_decimals(one.error_percent, 1),
        )
        for one in failures
    )
    columns = ("Date", "Unit", "Model", "Point", "Found", "Limits", "Error %")
    return PaperTable("Failed as found", "", columns, rows, figures=3)


def _limits(one: Failure) -> str:
    low = "up" if one.limits.one_sided else f"{one.limits.lower:.4g}"
    return f"{low} to {one.limits.upper:.4g} {unit_of(one.limits.quantity).symbol}"


def _adjusted(review: FleetReview) -> PaperTable:
    rows = tuple(
        (
            f"{one.at:%Y-%m-%d}",
            printable(one.asset),
            printable(one.model),
            _trims(one.points),
            one.found,
            one.left,
        )
        for one in review.adjusted
    )
    columns = ("Date", "Unit", "Model", "Points", "As found", "As left")
    note = "Runs with adjustment points; a trim was moved where that was needed."
    return PaperTable("Adjustment", note, columns, rows)


def _trims(points: tuple[str, ...]) -> str:
    """Return the adjustment points; of many, how many."""
    few = len(points) <= _FEW_TRIMS
    return printable(", ".join(points)) if few else f"{len(points)} points"


def _recurring(review: FleetReview) -> PaperTable:
    rows = tuple(
        (
            printable(one.asset),
            printable(one.model),
            printable(f"{one.step} {one.point}"),
            ", ".join(f"{date:%Y-%m-%d}" for date in one.dates),
        )
        for one in review.recurring
    )
    note = "Points that failed as found now and before."
    return PaperTable("Recurring", note, ("Unit", "Model", "Point", "Failed as found on"), rows)


def _due(report: FleetReport) -> PaperTable:
    due = [(unit, later) for unit, later in report.due() if _is_due(unit, later)]
    rows = tuple(
        (
            printable((row := unit.riskiest).asset),
            printable(row.model),
            printable(f"{row.step} {row.point}"),
            f"{row.last_at:%Y-%m-%d}",
            f"{'+' if row.rate_percent > 0 else ''}{fixed_decimals(row.rate_percent, 1)} %",
            f"{percent_text(row.risk)} %",
            f"{percent_text(later)} %",
            "" if unit.leaves_at is None else f"{unit.leaves_at:%Y-%m-%d}",
        )
        for unit, later in due
    )
    others = len(report.due()) - len(due)
    note = (
        "Units whose risk of being out of tolerance reaches 10 % within a year, the riskiest "
        f"first; {others} others stay below."
    )
    columns = ("Unit", "Model", "Point", "Seen", "Creep a year", "Out now", "In a year", "10 % on")
    return PaperTable("Due", note, columns, rows, figures=5)


def _is_due(unit: UnitCreep, later: float) -> bool:
    return max(unit.riskiest.risk, later) >= _RISKY


def _look_at(report: FleetReport, charts: list[SurpriseChart]) -> PaperTable:
    rows = [
        (printable(f"{row.asset} ({row.model}), {row.step} {row.point}"), remark)
        for row in report.rows
        for remark in row.remarks
    ]
    for chart in charts:
        for signal in chart.signals:
            if signal.rule > 1:  # a single visit far out is named by the unit's own row
                visit = chart.visits[signal.index]
                at = f"{chart.model}, up to {visit.at:%Y-%m-%d} ({visit.asset})"
                rows.append(
                    (printable(at), f"{RULES[signal.rule]}: analyzer or procedure changed?")
                )
    note = "Units that creep unlike their model, steps, and signals of the control charts below."
    return PaperTable("To be looked at", note, ("What", "Why"), tuple(rows))


def _pictures(report: FleetReport, charts: list[SurpriseChart]) -> list[PaperPicture]:
    pictures = []
    riskiest = [unit.riskiest for unit in unit_creep(report.rows)]
    if riskiest:
        figure = plot_creep(report.forecast, riskiest, report.span.until, simulated=False)
        said = "; ".join(
            f"{row.asset}, {row.step} {row.point}: {percent_text(row.risk)} % out"
            for row in riskiest[:6]
        )
        pictures.append(PaperPicture("The riskiest units", _svg(figure), printable(said)))
    if charts:
        said = "; ".join(f"{c.model}: {len(c.signals)} signals" for c in charts)
        heading = "Visits against their forecast (control chart)"
        pictures.append(PaperPicture(heading, _svg(plot_surprises(charts)), printable(said)))
    return pictures


def _svg(figure: Figure) -> str:
    """Return a figure as SVG; equal figures give equal text."""
    from matplotlib import rc_context

    file = StringIO()
    with rc_context({"svg.hashsalt": "ohmwright"}):
        figure.savefig(file, format="svg", metadata={"Date": None})
    return file.getvalue()
