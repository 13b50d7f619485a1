"""A curve as rows of named cells, one a point, and back from the text of such rows."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from math import isfinite
from typing import Any

from ohmwright.model.bench_file import Asset
from ohmwright.model.result import AMPLE_DOF, BudgetEntry, Measured

from .curve import Curve, CurveKey, CurveOrigin, CurvePoint
from .curve_difference import AS_A_WHOLE

_VALUES = {"current": "ma", "power": "w"}
"""The measured values of a point, with the unit of each."""


def rows(curve: Curve) -> list[dict[str, Any]]:
    """Return one row a point: what was set, values, and where they come from."""
    return [_row(curve.origin, point) for point in curve.points]


def _row(origin: CurveOrigin, point: CurvePoint) -> dict[str, Any]:
    return {
        "mode": point.mode,
        "setting_w": point.setting_w,
        "load_ohm": point.load_ohm,
        "repeat": point.repeat,
        **_figures(point.current, "current"),
        **_figures(point.power, "power"),
        "voltage_v": _rounded(point.voltage_v),
        "settled": point.settled,
        "reason": point.reason,
        "certified": point.certified,
        "on_s": _rounded(point.on_s),
        "at": point.at.isoformat(timespec="milliseconds"),
        "simulated_seed": origin.seed,
        "analyzer": origin.analyzer,
        "certificate": origin.certificate,
        "unit": origin.asset.id,
        "unit_maker": origin.asset.maker,
        "unit_model": origin.asset.model,
        "unit_serial": origin.asset.serial,
        "date": f"{origin.begun_at:%Y-%m-%d}",
        "begun_at": origin.begun_at.isoformat(timespec="milliseconds"),
        "age_s": origin.age_s,
        "software": origin.software,
        "run": origin.run,
        "planned_points": origin.planned,
    }


def _figures(measured: Measured | None, quantity: str) -> dict[str, float | None]:
    """Return the columns of one value: itself, U, k, standard uncertainty and its dof."""
    unit = _VALUES[quantity]
    names = (quantity, f"{quantity}_expanded", f"{quantity}_k", f"{quantity}_uncertainty")
    columns = [name if name.endswith("_k") else f"{name}_{unit}" for name in names]
    if measured is None:
        return dict.fromkeys((*columns, f"{quantity}_dof"))
    found = (measured.value, measured.expanded, measured.coverage_factor, measured.uncertainty)
    figures = [None if one is None else _rounded(one) for one in found]
    dof = _rounded(measured.dof) if measured.dof < AMPLE_DOF else None
    return dict(zip(columns, figures, strict=True)) | {f"{quantity}_dof": dof}


def _rounded(value: float) -> float | None:
    return round(value, 4) if isfinite(value) else None


def curve_of_rows(found: list[dict[str, str]]) -> Curve:
    """Return the curve of such rows, as a CSV file has them.

    Raises KeyError, TypeError, ValueError.
    """
    if not found:
        raise ValueError("it has no row")
    first, points = found[0], dict[tuple[CurveKey, int], CurvePoint]()
    for number, row in enumerate(found, start=2):
        point = _numbered_point(row, number)
        if row["run"] != first["run"]:
            raise ValueError(f"row {number} is of another run, {row['run']}")
        if (key := (point.key, point.repeat)) in points:
            raise ValueError(f"row {number} has a point that an earlier row has, too")
        points[key] = point
    origin = CurveOrigin(
        run=first["run"],
        asset=Asset(
            id=first["unit"],
            maker=first["unit_maker"],
            model=first["unit_model"],
            serial=first["unit_serial"],
        ),
        analyzer=first["analyzer"],
        certificate=first["certificate"],
        software=first["software"],
        begun_at=datetime.fromisoformat(first["begun_at"]),
        age_s=float(first["age_s"]) if first["age_s"] else None,
        seed=int(first["simulated_seed"]) if first["simulated_seed"] else None,
        planned=int(first["planned_points"]) if first.get("planned_points") else None,
    )
    return Curve(tuple(points.values()), origin)


def _numbered_point(row: Mapping[str, str | None], number: int) -> CurvePoint:
    """Return the point of a row; ValueError names the row, counted with the head as row 1."""
    whole = {name: cell for name, cell in row.items() if cell is not None}
    if len(whole) < len(row):
        raise ValueError(f"row {number} is cut short")
    try:
        return _point_of_row(whole)
    except ValueError as problem:
        raise ValueError(f"row {number}: {problem}") from None


def _point_of_row(row: Mapping[str, str]) -> CurvePoint:
    values = {quantity: _measured(row, quantity, unit) for quantity, unit in _VALUES.items()}
    return CurvePoint(
        mode=row["mode"],
        setting_w=float(row["setting_w"]),
        load_ohm=float(row["load_ohm"]),
        repeat=int(row["repeat"]),
        power=values["power"],
        current=values["current"],
        settled=_flag(row["settled"]),
        reason=row["reason"],
        certified=_flag(row["certified"]),
        on_s=float(row["on_s"]),
        at=datetime.fromisoformat(row["at"]),
    )


def _flag(cell: str) -> bool:
    """Return a truth value, also as a spreadsheet saves it."""
    if cell.lower() not in ("true", "false"):
        raise ValueError(f"neither True nor False: '{cell}'")
    return cell.lower() == "true"


def _measured(row: Mapping[str, str], quantity: str, unit: str) -> Measured | None:
    """Return a value with its uncertainty in one line; None for an empty cell."""
    if not row[f"{quantity}_{unit}"]:
        return None
    u = float(row[f"{quantity}_uncertainty_{unit}"])
    if u < 0:
        raise ValueError(f"a negative uncertainty, {u:g}")
    dof = float(row[f"{quantity}_dof"]) if row[f"{quantity}_dof"] else None
    whole = BudgetEntry(source=AS_A_WHOLE, evaluation="B", standard_uncertainty=u, dof=dof)
    return Measured(
        quantity=f"{quantity}_{unit}",
        value=float(row[f"{quantity}_{unit}"]),
        uncertainty=u,
        dof=AMPLE_DOF if dof is None else dof,
        age_s=float(row["age_s"]),
        expanded=float(row[f"{quantity}_expanded_{unit}"]),
        coverage_factor=float(row[f"{quantity}_k"]),
        budget=(whole,),
    )
