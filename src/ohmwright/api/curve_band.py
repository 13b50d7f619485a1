"""Limits of the power that a picture of a curve shows: of a procedure, or in percent."""

from __future__ import annotations

from collections.abc import Mapping
from os import PathLike
from pathlib import Path
from typing import NamedTuple

from ohmwright.engine.asked_power import limits_w
from ohmwright.engine.point_measurement import OutputPointsStep
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.model.errors import UsageError

from .curve import Curve, CurveKey

BandLimits = Mapping[CurveKey, tuple[float, float]]
"""Lower and upper limit of the power in W."""


class CurveBand(NamedTuple):
    """The limits that a picture shows."""

    name: str
    """The words of their label that stand before the setting."""
    limits_w: BandLimits
    lack: str = ""
    """That the curve has none of their points, to be said above the picture; else empty."""


NO_BAND = CurveBand("", {})


def band_of(curve: Curve, band: str | PathLike[str] | float | None) -> CurveBand:
    """Return the limits at the points of `curve`: of a procedure, or in percent of the setting.

    Raises ProcedureError, UsageError.
    """
    if band is None:
        return NO_BAND
    keys = {point.key for point in curve.points}
    if isinstance(band, int | float):
        refuse_impossible_percent(band, means="No picture was made.")
        part = band / 100
        within = {key: (key.setting_w * (1 - part), key.setting_w * (1 + part)) for key in keys}
        return CurveBand(f"± {band:g} % of", within)
    limits = band_limits(Path(band), curve.origin.asset.model)
    lack = "" if keys & limits.keys() else f"{Path(band).name} has no limits at these points"
    return CurveBand("limits for", limits, lack)


def refuse_impossible_percent(percent: float, *, option: str = "", means: str) -> None:
    """Raise UsageError where limits of so many percent of the setting cannot be drawn.

    `option`: what gave them, where that is to be named; `means`: what follows.
    """
    if not 0 < percent < 100:
        named = f"{option}: " if option else ""
        raise UsageError(
            f"{named}limits of ± {percent:g} % of the setting cannot be drawn.",
            means,
            "Give a number of percent between 0 and 100, or a procedure file.",
        )


def band_limits(path: Path, model: str) -> BandLimits:
    """Return the limits of the power that a procedure file has.

    Raises ProcedureError, and UsageError where it is not for the generator `model`.
    """
    found: dict[CurveKey, tuple[float, float]] = {}
    procedure = read_procedure(path).procedure
    if procedure.model != model:
        raise UsageError(
            f"{path}: the procedure is for {procedure.model}, the curve of a {model}.",
            "Its limits are not drawn.",
            "Give a procedure for that model, or a number of percent.",
        )
    for step in procedure.step:
        if isinstance(step, OutputPointsStep):  # a leakage has limits, too, and is no output
            for point in step.judged_points():
                setting_w = step.setting_w if point.setting_w is None else point.setting_w
                found[CurveKey(step.mode, setting_w, point.load_ohm)] = limits_w(point)
    return found
