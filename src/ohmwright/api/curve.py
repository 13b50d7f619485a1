"""A measured curve: points with their uncertainties, where they come from, what is to be said."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from itertools import combinations
from math import nan
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

from ohmwright.model.base import FrozenModel
from ohmwright.model.bench_file import Asset
from ohmwright.model.errors import UsageError
from ohmwright.model.result import Measured

from .curve_difference import Comparison, mean_difference
from .pandas_extra import data_frame

if TYPE_CHECKING:
    from matplotlib.figure import Figure


CurveOrFile: TypeAlias = "Curve | str | PathLike[str]"
"""A curve, or the name of a file that one was written to."""


class CurveKey(NamedTuple):
    """What a point is measured at."""

    mode: str
    setting_w: float
    load_ohm: float


class CurvePoint(FrozenModel):
    """Power and current at one setting into one load; both None where nothing was measured."""

    mode: str
    setting_w: float
    load_ohm: float
    repeat: int
    power: Measured | None
    current: Measured | None
    settled: bool
    """Whether the value at the stated age was known when the activation ended."""
    reason: str
    """What is to be said of it; empty for a settled value."""
    certified: bool
    """Whether the analyzer's certificate, in date, is part of the uncertainty."""
    on_s: float
    at: datetime

    def __repr__(self) -> str:
        """Return where and what; the budgets would fill a notebook's screen."""
        value = "not measured"
        if self.power is not None and self.power.expanded is not None:
            value = f"{self.power_w:.4g} W, U = {self.power.expanded:.2g} W"
        where = f"{self.mode} {self.setting_w:g} W, {self.load_ohm:g} ohm ({self.repeat})"
        return f"<CurvePoint {where}: {value}>"

    def __str__(self) -> str:
        return repr(self)

    @property
    def key(self) -> CurveKey:
        """Mode, setting and load."""
        return CurveKey(self.mode, self.setting_w, self.load_ohm)

    @property
    def power_w(self) -> float:
        """Power in the load, P = I² R; nan where nothing was measured."""
        return nan if self.power is None else self.power.value

    @property
    def current_ma(self) -> float:
        """The RMS current; nan where nothing was measured."""
        return nan if self.current is None else self.current.value

    @property
    def voltage_v(self) -> float:
        """Voltage across the load, U = I R; nan where nothing was measured."""
        return self.current_ma / 1000 * self.load_ohm


class CurveOrigin(FrozenModel):
    """What a curve was measured on, with what and when; the same for every point."""

    run: str
    """The number of the run that it is the record of."""
    asset: Asset
    analyzer: str
    """As the instrument identifies itself."""
    certificate: str
    """The number of the analyzer's certificate; empty where it has none."""
    software: str
    begun_at: datetime
    """By the bench's clock."""
    age_s: float | None
    """Age of the activation at which the values hold; None where no point has a value."""
    seed: int | None
    """The simulated unit's; None for a real bench."""
    planned: int | None = None
    """How many points were to be measured; None where that is not known."""


@dataclass(frozen=True)
class Curve:
    """The points of a sweep in the order of measuring; a notebook shows it as a picture."""

    points: tuple[CurvePoint, ...]
    origin: CurveOrigin
    file: str = field(default="", compare=False)
    """What it was read from, as its name was given; empty where it was measured here."""
    outlived: tuple[str, ...] = field(default=(), compare=False)
    """The faults that the sweep went on after, in words; no file has them."""

    def __iter__(self) -> Iterator[CurvePoint]:
        return iter(self.points)

    def __getitem__(self, at: int) -> CurvePoint:
        return self.points[at]

    def __len__(self) -> int:
        return len(self.points)

    def __repr__(self) -> str:
        lost = sum(point.power is None for point in self.points)
        missing = f", {lost} not measured" if lost else ""
        return (
            f"<Curve of {self.origin.asset.id}: {len(self)} points{missing}, run {self.origin.run}>"
        )

    def by_key(self) -> dict[CurveKey, list[CurvePoint]]:
        """Return the points with a value by mode, setting and load; repeats stand together."""
        found: dict[CurveKey, list[CurvePoint]] = {}
        for point in self.points:
            if point.power is not None:
                found.setdefault(point.key, []).append(point)
        return found

    @property
    def modes(self) -> tuple[str, ...]:
        """The modes, in the order in which they were first measured."""
        return tuple(dict.fromkeys(point.mode for point in self.points))

    def save(self, path: str | PathLike[str], *, overwrite: bool = False) -> None:
        """Write the curve: CSV or Parquet, or a picture as SVG, PNG or PDF, by the path's ending.

        Raises UsageError for another ending, a missing package, a path that cannot be written, and
        a file that exists where `overwrite` is false.
        """
        from .curve_file import write_curve
        from .output_file import refuse_unwritable

        refuse_unwritable(Path(path), overwrite=overwrite, choice="overwrite=True")
        write_curve(self, Path(path))

    def to_pandas(self) -> Any:
        """Return a DataFrame, one row a point, with the columns of the CSV file."""
        from .curve_rows import rows

        return data_frame(rows(self))

    def plot(
        self,
        *,
        band: str | PathLike[str] | float | None = None,
        against: CurveOrFile | Iterable[CurveOrFile] = (),
    ) -> Figure:
        """Return a figure: power over load resistance, a panel for each mode.

        `band`: a procedure file, whose limits at these modes and settings are drawn; or a number of
        percent about each setting. `against`: an earlier curve, or those of other units, which are
        drawn as their mean and twice their standard deviation; each a curve or its file. Raises
        OhmwrightError for a file that is none, and limits of another model.
        """
        from .curve_plot import curve_figure

        return curve_figure(self, band, curves_given(against))

    def compare(self, other: CurveOrFile) -> Comparison:
        """Return this curve less `other`, where both have a value, each with its uncertainty.

        `other`: a curve or its file. Errors that both share hardly count: those of one analyzer by
        one certificate. Raises OhmwrightError for a file that is none.
        """
        other = _curve_given(other)
        first, second = self.origin, other.origin
        shared = (first.analyzer, first.certificate) == (second.analyzer, second.certificate)
        theirs = other.by_key()
        return Comparison(
            tuple(
                mean_difference(key, _powers(mine), _powers(theirs[key]), shared=shared)
                for key, mine in self.by_key().items()
                if key in theirs
            )
        )

    def remarks(self) -> tuple[str, ...]:
        """Return what a reader should know: what is missing, faults, falls of power."""
        missing = [point for point in self.points if point.power is None]
        unsettled = [point for point in self.points if point.power and not point.settled]
        said = [f"{_place(point.key)}: not measured: {point.reason}" for point in missing]
        said += [f"{_place(point.key)}: not settled: {point.reason}" for point in unsettled]
        uncovered = [point for point in self.points if point.settled and point.reason]
        said += [f"{_place(point.key)}: {point.reason}" for point in uncovered]
        return (*self._cut_short(), *said, *self.outlived, *self._falls())

    @property
    def is_cut_short(self) -> bool:
        """Whether it is known to have fewer points than were to be measured."""
        return self.origin.planned is not None and len(self) < self.origin.planned

    def _cut_short(self) -> Iterator[str]:
        if self.is_cut_short:
            yield (
                f"{len(self)} of {self.origin.planned} points: this is of a sweep that had not "
                f"ended, run {self.origin.run}"
            )

    def _falls(self) -> Iterator[str]:
        """Yield each pair of settings of which the higher surely gives less into the same load."""
        values = self.by_key()
        for low, high in combinations(sorted(values), 2):
            if (low.mode, low.load_ohm) == (high.mode, high.load_ohm):
                drop = mean_difference(
                    low, _powers(values[low]), _powers(values[high]), shared=True
                )
                if drop.difference_w > drop.expanded_w:
                    yield (
                        f"{_place(high)}: {drop.difference_w:.1f} W less than at "
                        f"{low.setting_w:g} W (U = {drop.expanded_w:.1f} W)"
                    )

    def _repr_svg_(self) -> str:
        from .curve_plot import svg_text

        return svg_text(self.plot())


def curves_given(given: object) -> tuple[Curve, ...]:
    """Return one curve or several, each given itself or by the name of its file.

    Raises OhmwrightError for anything else.
    """
    if isinstance(given, Curve | str) or not isinstance(given, Iterable):
        return (_curve_given(given),)
    return tuple(_curve_given(one) for one in given)


def _curve_given(given: object) -> Curve:
    if isinstance(given, Curve):
        return given
    if isinstance(given, str | PathLike):
        from .curve_file import read

        return read(Path(given))
    raise UsageError(
        f"A curve is wanted, or the name of its file, not {given!r}.",
        do="ohmwright.read(PATH) gives the curve of a file.",
    )


def _powers(points: Iterable[CurvePoint]) -> list[Measured]:
    return [point.power for point in points if point.power is not None]


def _place(key: CurveKey) -> str:
    return f"{key.mode} {key.setting_w:g} W, {key.load_ohm:g} ohm"
