"""What the command `sweep` prints: the estimate before it, and the curve as a table or as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict

from rich.console import Console
from rich.table import Table
from rich.text import Text

from ohmwright.api.curve import Curve, CurvePoint
from ohmwright.api.curve_rows import rows
from ohmwright.api.run_pace import duration
from ohmwright.engine.measured_value import UNCOVERED
from ohmwright.engine.sweep_estimate import SweepEstimate
from ohmwright.reports.text import counted, printable

from .console import out, print_json
from .run_summary import simulated_line, unit_line
from .table_format import as_it_fits, value_with_uncertainty

_J_PER_KJ = 1000


def print_estimate(
    estimate: SweepEstimate, *, as_json: bool, console: Console | None = None
) -> None:
    """Print what a sweep will cost."""
    if as_json:
        print_json(
            {
                "points": estimate.points,
                "bench_s": round(estimate.bench_s, 1),
                "rf_s": round(estimate.rf_s, 1),
                "heat_j": round(estimate.heat_j),
            }
        )
        return
    (console or out()).print(
        f"{counted(estimate.points, 'point')}: about {duration(estimate.bench_s)} at the bench, "
        f"RF on for {estimate.rf_s:.0f} s, {estimate.heat_j / _J_PER_KJ:.1f} kJ into the load "
        f"bank (mean {estimate.mean_w:.0f} W); without the time that people take.",
        soft_wrap=True,
    )


def print_sweep(curve: Curve, others: Sequence[Curve], place: str, *, as_json: bool) -> None:
    """Print the curve as a table under what it was measured on, or as one JSON document."""
    if as_json:
        points = rows(curve)
        print_json(_with_comparisons(points, curve, others) if others else points)
        return
    _print_origin(curve)
    out().print(as_it_fits(_table(curve)))
    out().print(_coverage(curve))
    if not curve.origin.certificate:
        out().print("No analyzer certificate: uncertainties are of the readings alone.")
    elif any(_is_past_due(point) for point in curve):
        out().print(f"Certificate {curve.origin.certificate} was out of date: not traceable.")
    for remark in (*curve.remarks(), *_compared(curve, others)):
        out().print(Text(printable(remark)), soft_wrap=True)
    out().print(f"Record: {place}, run {curve.origin.run}", soft_wrap=True)


def _is_past_due(point: CurvePoint) -> bool:
    """Whether its value rests on a certificate past its date, and not on none for its range."""
    return point.power is not None and not point.certified and UNCOVERED not in point.reason


def _with_comparisons(
    points: Sequence[object], curve: Curve, others: Sequence[Curve]
) -> dict[str, object]:
    """Return the JSON object of a curve that was compared: its points, and each comparison."""
    compared = [
        {
            "file": other.file,
            "unit": other.origin.asset.id,
            "date": f"{other.origin.begun_at:%Y-%m-%d}",
            "run": other.origin.run,
            "points": [asdict(one) | {"certain": one.certain} for one in curve.compare(other)],
        }
        for other in others
    ]
    return {"points": points, "against": compared}


def _print_origin(curve: Curve) -> None:
    out().print(Text(unit_line(curve.origin.asset)), soft_wrap=True)
    out().print(Text(printable(f"Analyzer {curve.origin.analyzer}")), soft_wrap=True)
    if curve.origin.seed is not None:
        out().print(simulated_line(curve.origin.seed))


def _table(curve: Curve) -> Table:
    """Return the points by setting and load, in whatever order they were measured.

    Modes stand in the order in which they were first measured.
    """
    table = Table("Mode", "Setting", "Load")
    for name in ("Power ± U, W", "Current ± U, mA", "Voltage"):
        table.add_column(name, justify="right", no_wrap=True)
    place = {mode: n for n, mode in enumerate(curve.modes)}
    for point in sorted(curve, key=lambda one: (place[one.mode], *one.key, one.repeat)):
        again = f" ({point.repeat})" if point.repeat > 1 else ""
        table.add_row(
            point.mode,
            f"{point.setting_w:g} W",
            f"{point.load_ohm:g} ohm{again}",
            *_values(point),
        )
    return table


def _values(point: CurvePoint) -> tuple[str, str, str]:
    """Return the cells of the values, or that there is none."""
    power, current = point.power, point.current
    if power is None or current is None:
        return "none", "none", ""
    mark = "" if point.settled else "*"
    return (
        value_with_uncertainty(power) + mark,
        value_with_uncertainty(current),
        f"{point.voltage_v:.0f} V",
    )


def _coverage(curve: Curve) -> str:
    """Return what U is."""
    values = (one for point in curve for one in (point.power, point.current) if one is not None)
    factors = [f"{one.coverage_factor:.2f}" for one in values if one.coverage_factor is not None]
    if not factors:
        return "No value."
    k = " to ".join(sorted({min(factors), max(factors)}))
    return (
        f"U: expanded uncertainty of 95 % coverage, k = {k}.\n"
        "Voltage: current times load resistance, and without U."
    )


def _told_apart(curve: Curve, other: Curve) -> str:
    """Return unit and day of the `other` curve, and its age where its values hold at another."""
    ours_s, theirs_s = curve.origin.age_s, other.origin.age_s
    said = f"{other.origin.asset.id}, {other.origin.begun_at:%Y-%m-%d}"
    if ours_s is None or theirs_s is None or ours_s == theirs_s:
        return said
    return f"{said}, its values at {theirs_s:g} s of an activation and these at {ours_s:g} s"


def _compared(curve: Curve, others: Sequence[Curve]) -> Sequence[str]:
    """Return, for each other curve, how many points surely differ and the largest difference."""
    said = []
    for other in others:
        found = curve.compare(other)
        certain = found.certain()
        of = f"Against {other.file} ({_told_apart(curve, other)})"
        if not found:
            said.append(f"{of}: no point in common, nothing was compared.")
            continue
        line = f"{of}: {len(certain)} of {len(found)} points differ by more than U"
        if certain:
            most = max(certain, key=lambda point: abs(point.difference_w))
            line += (
                f"; most at {most.mode} {most.setting_w:g} W, {most.load_ohm:g} ohm: "
                f"{most.difference_w:+.1f} W ({most.percent:+.1f} %), U = {most.expanded_w:.1f} W"
            )
        said.append(f"{line}.")
    return said
