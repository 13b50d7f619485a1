"""The fleet report in words: its tables and pictures, for PDF and HTML."""

from __future__ import annotations

from collections.abc import Iterator
from io import StringIO
from typing import TYPE_CHECKING

from ohmwright.fleet.creep_plot import plot_creep
from ohmwright.fleet.creep_table import NEVER_OBSERVED, RATE_NOTE, RISKY, UnitCreep
from ohmwright.fleet.fleet_review import Failure, FleetReview
from ohmwright.fleet.surprise_chart import RULES, SurpriseChart, plot_surprises, surprise_charts
from ohmwright.reports.table_paper import PaperPicture, PaperTable, TablePaper
from ohmwright.reports.text import (
    counted,
    fixed_decimals,
    four_digits,
    limits_text,
    percent_text,
    printable,
    unit_symbol,
)
from ohmwright.reports.verdict_grounds import (
    PAST_DUE,
    PAST_DUE_NOTE,
    READINGS_MARK,
    UNCOVERED,
    words_of_grounds,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from .fleet_report import FleetReport

_FEW_TRIMS = 2
_AT_RISK = "At risk within a year"
_SIMULATED = "Simulated units and instruments: no evidence about any real unit."
_NOTES = (
    "As found: the visits whose unit failed a point before anything was adjusted, with limits of "
    "95 % confidence (Wilson).",
    "Risk now: probability that the true value of the unit's riskiest point lies outside its "
    "limits, by the creep of the unit and of its model. Within a year: the highest of any of its "
    "points within a year; it may fall again with the season. 10 % on: when that of any of its "
    "points reaches 10 %. Steps by repairs that nobody put on record are allowed for by their "
    "usual frequency, and cannot be foretold.",
    RATE_NOTE,
    f"Creep {NEVER_OBSERVED}: no two visits without an adjustment between have shown any; what is "
    "expected of the unit is what its model does, and no date is told.",
    "A forecast is no measurement. Whether a unit may be used is decided by its maker's service "
    "manual, local codes and qualified staff.",
)

_MARK_NOTE = (
    f"{READINGS_MARK}: {UNCOVERED}. No analyzer certificate covers some or all of the values that "
    "it rests on, so that it lacks how far the analyzer is off: verdicts say where readings lie, "
    "and a risk is one of the readings, not of the output. Behind a model: so are some of its "
    "visits."
)


def fleet_paper(report: FleetReport) -> TablePaper:
    """Return the paper of a report."""
    span, review = report.span, report.review
    charts = surprise_charts(report.forecast, span.since)
    of = f"Campaign {printable(span.campaign)}, " if span.campaign else ""
    return TablePaper(
        title="Fleet report",
        subtitle=f"{of}{span.words}",
        simulated=_SIMULATED if span.simulated else "",
        facts=_facts(report),
        tables=(
            _models(review),
            _without_pass(review),
            _failures(review.failures),
            _adjusted(review),
            _recurring(review),
            _at_risk(report),
            _look_at(report),
            _off_forecast(charts),
        ),
        pictures=tuple(_pictures(report, charts)),
        notes=(*_NOTES, *_marks(report)),
        made_from=(
            f"Made from the records as of entry {report.records.number}, hash "
            f"{report.records.short}"
        ),
    )


def _marks(report: FleetReport) -> Iterator[str]:
    """Yield what the mark says; nothing where there is none."""
    if _uncovered_visits(report) or report.marked.uncovered:
        yield _MARK_NOTE
    if _past_due_visits(report) or report.marked.past_due:
        yield PAST_DUE_NOTE


def _uncovered_visits(report: FleetReport) -> int:
    return sum(model.uncovered for model in report.review.models)


def _past_due_visits(report: FleetReport) -> int:
    return sum(model.past_due for model in report.review.models)


def _marked(text: str, *, qualified: bool) -> str:
    """Return a cell with the mark of what no analyzer certificate in date covers."""
    return f"{text}{READINGS_MARK}" if qualified else text


def _facts(report: FleetReport) -> tuple[tuple[str, str], ...]:
    review = report.review
    failed, visits = sum(m.failed for m in review.models), sum(m.visits for m in review.models)
    risky = sum(unit.risk.now >= RISKY for unit in report.units())
    marked = ((UNCOVERED, _uncovered_visits(report)), (PAST_DUE, _past_due_visits(report)))
    withdrawn = len(review.assets.intersection(report.withdrawn))
    since = f", {withdrawn} of them withdrawn" if withdrawn else ""
    return (
        ("Units seen", f"{len(review.assets)}{since}"),
        *((("Units in use and not seen", str(report.not_seen)),) if report.not_seen else ()),
        ("Visits", str(visits)),
        *((("Left out", counted(report.void_runs, "void run")),) if report.void_runs else ()),
        *(
            (words.capitalize(), f"{counted(visits, 'visit')}, marked {READINGS_MARK}")
            for words, visits in marked
            if visits
        ),
        ("Failed as found", f"{failed} of {visits}"),
        ("With a trim moved", str(len(review.adjusted))),
        ("Points that recur", str(len(review.recurring))),
        ("At risk now", f"{counted(risky, 'unit')} of 10 % or more"),
        (_AT_RISK, f"{counted(len(report.at_risk()), 'unit')}, table below"),
    )


def _models(review: FleetReview) -> PaperTable:
    rows = []
    for model in review.models:
        limits = model.failure_limits
        share = f"{100 * model.failed / model.visits:.1f} %" if model.visits else ""
        bounds = f"{100 * limits.lower:.1f} to {100 * limits.upper:.1f} %"
        counts = (model.units, model.visits, model.failed)
        after = (model.adjusted, model.not_passed_as_left)
        rows.append(
            (
                _marked(printable(model.model), qualified=model.uncovered + model.past_due > 0),
                *map(str, counts),
                share,
                bounds,
                *map(str, after),
            )
        )
    note = "Visits that failed as found, that moved a trim, and that left the unit without a pass."
    counted = ("Units", "Visits", "Failed", "Share", "95 % limits", "Adjusted", "Not passed")
    columns = ("Model", *counted)
    return PaperTable("Models", note, columns, tuple(rows), figures=7)


def _without_pass(review: FleetReview) -> PaperTable:
    rows = tuple(
        (
            f"{one.at:%Y-%m-%d}",
            printable(one.asset),
            printable(one.model),
            _marked(one.left, qualified=one.qualified),
            "no" if one.passed_at is None else f"on {one.passed_at:%Y-%m-%d}",
        )
        for one in review.without_pass
    )
    columns = ("Date", "Unit", "Model", "Left as", "Passed since")
    note = "Visits that left the unit without a pass, undecided and not measured ones among them."
    return PaperTable("Left without a pass", note, columns, rows)


def _failures(failures: tuple[Failure, ...]) -> PaperTable:
    rows = tuple(
        (
            f"{one.at:%Y-%m-%d}",
            printable(one.asset),
            printable(one.model),
            printable(f"{one.step} {one.point}"),
            *_held(one),
        )
        for one in failures
    )
    columns = ("Date", "Unit", "Model", "Point", "Found", "Limits", "Error %")
    note = "What failed by no value beyond its limits has none here: its run's record says by what."
    return PaperTable("Failed as found", note, columns, rows, figures=3)


def _held(failure: Failure) -> tuple[str, str, str]:
    """Return value, limits and error, as far as the point failed by them."""
    limits, error = failure.limits, failure.error_percent
    if limits is None:
        return "", "", ""
    within = f"{limits_text(limits.as_target)} {unit_symbol(limits.as_target, None)}"
    if failure.value is None or error is None:
        return "", within, ""
    found = _marked(four_digits(failure.value, limits.as_target), qualified=failure.qualified)
    return found, within, f"{error:+z.1f}".replace("-", "−")


def _adjusted(review: FleetReview) -> PaperTable:
    rows = tuple(
        (
            f"{one.at:%Y-%m-%d}",
            printable(one.asset),
            printable(one.model),
            _trims(one.points),
            _marked(one.found, qualified=one.found_qualified),
            _marked(one.left, qualified=one.left_qualified),
        )
        for one in review.adjusted
    )
    columns = ("Date", "Unit", "Model", "Points", "As found", "As left")
    note = "Runs in which trims were moved, and the points of these."
    return PaperTable("Adjusted", note, columns, rows)


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
            _marked(", ".join(f"{date:%Y-%m-%d}" for date in one.dates), qualified=one.qualified),
        )
        for one in review.recurring
    )
    note = "Points that failed as found now and before."
    return PaperTable("Recurring", note, ("Unit", "Model", "Point", "Failed as found on"), rows)


def _at_risk(report: FleetReport) -> PaperTable:
    risky = report.at_risk()
    rows = tuple(
        _row_at_risk(unit, qualified=any(map(report.is_marked, unit.points))) for unit in risky
    )
    note = (
        "Units in use whose risk of being out of tolerance reaches 10 % within a year, the "
        "riskiest first; where that is about equal (to 5 points), the one that reaches 10 % "
        f"first. Units that stay below: {len(report.units()) - len(risky)}."
    )
    columns = (
        "Unit",
        "Model",
        "Point",
        "Seen",
        "Creep a year",
        "Risk now",
        "Within a year",
        "10 % on",
    )
    return PaperTable(_AT_RISK, note, columns, rows, figures=5)


def _row_at_risk(unit: UnitCreep, *, qualified: bool) -> tuple[str, ...]:
    row = unit.riskiest
    return (
        printable(row.asset),
        printable(row.model),
        printable(f"{row.step} {row.point}"),
        f"{row.last_at:%Y-%m-%d}",
        row.rate_text.replace("-", "−"),
        _marked(f"{percent_text(row.risk)} %", qualified=qualified),
        _marked(f"{percent_text(unit.risk.within_year)} %", qualified=qualified),
        unit.leaves_text,
    )


def _look_at(report: FleetReport) -> PaperTable:
    rows = tuple(
        (printable(f"{row.asset} ({row.model}), {row.step} {row.point}"), remark)
        for row in report.in_use()
        for remark in row.remarks
    )
    note = "Points of units in use that creep unlike their model, or made a step."
    return PaperTable("To be looked at", note, ("What", "Why"), rows)


def _off_forecast(charts: list[SurpriseChart]) -> PaperTable:
    """Return the visits that the control charts mark, in words."""
    rows = tuple(
        (
            printable(chart.model),
            f"{(visit := chart.visits[index]).at:%Y-%m-%d}",
            printable(visit.asset),
            "; ".join(RULES[rule] for rule in rules),
            fixed_decimals(visit.value, 1),
        )
        for chart in charts
        for index, rules in chart.marked().items()
    )
    note = (
        "Visits with a ring in the control charts, and by which rule, up to that visit. One far "
        "out is a step of that unit; several on one side: has the analyzer or the procedure "
        "changed? The deviation is in standard deviations of the forecast."
    )
    columns = ("Model", "Visit", "Unit", "Rule", "Deviation")
    return PaperTable("Visits off their forecast", note, columns, rows, figures=1)


def _pictures(report: FleetReport, charts: list[SurpriseChart]) -> list[PaperPicture]:
    pictures = []
    riskiest = [unit.riskiest for unit in report.units()]
    if riskiest:
        grounds = {row.key: words_of_grounds(row.key, report.marked) for row in riskiest}
        figure = plot_creep(report.forecast, riskiest, report.span.until, grounds, simulated=False)
        said = "; ".join(
            f"{row.asset}, {row.step} {row.point}: {percent_text(row.risk)} % out"
            for row in riskiest[:6]
        )
        pictures.append(PaperPicture("The riskiest units", _svg(figure), printable(said)))
    if charts:
        said = "; ".join(
            f"{c.model}: {len(c.visits)} visits, {len(c.marked())} with a ring" for c in charts
        )
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
