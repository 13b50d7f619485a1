"""The options of `sweep`, by group: what is measured, and what is written of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from shlex import quote

from pydantic import ValidationError

from ohmwright.api.bench_data import BenchData
from ohmwright.api.curve import Curve
from ohmwright.api.curve_band import band_limits, refuse_impossible_percent
from ohmwright.api.curve_file import refuse_unknown_ending, write_curve
from ohmwright.api.output_file import refuse_ending_of_another, refuse_no_picture, refuse_unwritable
from ohmwright.api.sweep_plan import Sweep, SweepPlan
from ohmwright.engine.sweep_points import SweepPoint
from ohmwright.model.complaint_words import words_of_error
from ohmwright.model.errors import UsageError

OPTION_OF_KEY = {"modes": "--mode, --settings", "loads_ohm": "--loads", "max_on_s": "--age"}
"""What the command line calls the keys of a plan."""
_PLAN_OPTIONS = OPTION_OF_KEY | {
    "repeats": "--repeats",
    "order_seed": "--order-seed",
    "age_s": "--age",
    "rest_s": "--rest",
    "order": "--order",
    "on_fault": "--on-fault",
}
_NOTHING_WRITTEN = "Nothing was switched on."


@dataclass(frozen=True)
class PlanOptions:
    """A sweep as asked for on the command line; loads in ohm and settings in W as text."""

    modes: tuple[str, ...]
    """Each a name, or a name with its settings, as in `cut=50,100`."""
    settings: str
    loads: str | None
    repeats: int
    order: str
    order_seed: int
    age_s: float
    rest_s: float
    on_fault: str
    plan: Path | None
    """A file that says all of it."""

    def refuse_all_beside(self, option: str) -> None:
        """Raise UsageError where a plan or any of it is given beside `option`."""
        self.refuse_beside(option)
        if self.plan is not None:
            raise UsageError(
                f"{option} goes on by the plan on record; --plan gives another.",
                _NOTHING_WRITTEN,
                "Leave out --plan, or begin a sweep of its own without --resume.",
            )

    def refuse_beside(self, option: str) -> None:
        """Raise UsageError where any of it is given beside `option`, which says all of it."""
        if replace(self, plan=None) != NO_PLAN:
            raise UsageError(
                f"{option} says what is measured; other options do so, too.",
                _NOTHING_WRITTEN,
                "Leave out --mode, --settings, --loads, --repeats, --order, --order-seed, --age, "
                "--rest and --on-fault.",
            )

    def read(self, bench: BenchData) -> Sweep:
        """Return the plan; without loads, those of the load bank. Raises UsageError."""
        if self.plan is not None:
            self.refuse_beside("--plan")
            return Sweep.read(self.plan)
        if not self.modes:
            raise UsageError("Say what to measure.", do="Give --mode with --settings, or --plan.")
        self._refuse_twice_said()
        given = self.loads is not None
        loads_ohm = _numbers("--loads", self.loads or "") if given else _all_loads(bench)
        try:
            plan = SweepPlan.model_validate(
                {
                    "modes": dict(map(self._mode, self.modes)),
                    "loads_ohm": loads_ohm,
                    "repeats": self.repeats,
                    "order": self.order,
                    "order_seed": self.order_seed,
                    "age_s": self.age_s,
                    "rest_s": self.rest_s,
                    "on_fault": self.on_fault,
                }
            )
        except ValidationError as problem:
            raise _as_options(problem) from None
        return Sweep(**dict(plan))

    def _refuse_twice_said(self) -> None:
        """Raise UsageError where a mode is given twice, or settings that no mode takes."""
        names = [text.partition("=")[0] for text in self.modes]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise UsageError(
                f"--mode {twice} is given twice.",
                _NOTHING_WRITTEN,
                f"Give all its settings at once: --mode {twice}=50,100.",
            )
        if self.settings and all("=" in text for text in self.modes):
            raise UsageError(
                f"--settings {self.settings}: every mode has settings of its own.",
                _NOTHING_WRITTEN,
                "Leave --settings out, or give a mode without its own.",
            )

    def _mode(self, text: str) -> tuple[str, tuple[float, ...]]:
        name, given, settings = text.partition("=")
        if not given and not self.settings:
            raise UsageError(f"--mode {text}: at which settings?", do="Give --settings 50,100.")
        if given:
            return name, _numbers(f"--mode {name}:", settings)
        return name, _numbers("--settings", self.settings)


NO_PLAN = PlanOptions((), "", None, 1, "as-given", 1, 6.0, 15.0, "stop", None)
"""What the options say where none is given."""


@dataclass(frozen=True)
class SweepFiles:
    """What is to be written of a sweep, and what its picture shows beside it."""

    csv: Path | None
    parquet: Path | None
    plot: Path | None
    band: str
    """A procedure file, or a number of percent; empty for no limits."""
    against: tuple[Path, ...]
    overwrite: bool

    def refuse_unwritable(self) -> None:
        """Raise UsageError where one of them cannot be written."""
        self._refuse_one_name_for_two()
        if self.band and self.plot is None:
            raise UsageError(
                "--band draws limits into a picture, and there is none.",
                _NOTHING_WRITTEN,
                "Give --plot, too.",
            )
        if self.plot is not None:
            refuse_no_picture(self.plot, option="--plot", means=_NOTHING_WRITTEN)
        for path, form in ((self.csv, "CSV"), (self.parquet, "Parquet")):
            if path is not None:
                do = f"Give it the ending .{form.lower()}."
                refuse_ending_of_another(path, form, means=_NOTHING_WRITTEN, do=do)
        for path in (self.csv, self.parquet, self.plot):
            if path is not None:
                refuse_unwritable(path, overwrite=self.overwrite, means=_NOTHING_WRITTEN)
        if self.parquet is not None:
            refuse_unknown_ending(Path("curve.parquet"))

    def _refuse_one_name_for_two(self) -> None:
        given = [path.resolve() for path in (self.csv, self.parquet, self.plot) if path is not None]
        if len(set(given)) < len(given):
            raise UsageError(
                "--csv, --parquet and --plot: two of them name one file.",
                _NOTHING_WRITTEN,
                "Give each a name of its own.",
            )

    def refuse_band_of_another(self, model: str, points: Iterable[SweepPoint]) -> None:
        """Raise UsageError where the limits are of no point of a sweep, or not for `model`.

        Raises ProcedureError.
        """
        band = self._band()
        if isinstance(band, float):
            refuse_impossible_percent(band, option="--band", means=_NOTHING_WRITTEN)
        elif band is not None:
            limits = band_limits(band, model)
            if not any((point.mode, point.setting_w, point.load_ohm) in limits for point in points):
                raise UsageError(
                    f"--band {band}: the procedure has no limits at any point of this sweep.",
                    _NOTHING_WRITTEN,
                    "Sweep its modes, settings and loads, or give a number of percent.",
                )

    def as_typed(self) -> str:
        """Return the options that write the same files anew; empty where none is written."""
        named = (("--csv", self.csv), ("--parquet", self.parquet), ("--plot", self.plot))
        files = [f" {option} {quote(str(path))}" for option, path in named if path is not None]
        if not files:
            return ""
        shown = [f" --against {quote(str(path))}" for path in self.against]
        band = f" --band {quote(self.band)}" if self.band else ""
        return "".join((*files, band, *shown, " --overwrite"))

    def _band(self) -> Path | float | None:
        try:
            return float(self.band) if self.band else None
        except ValueError:
            return Path(self.band)

    def write(self, curve: Curve, others: Sequence[Curve]) -> None:
        """Write each file. Raises UsageError where one cannot be written."""
        if self.csv is not None:
            write_curve(curve, self.csv, "csv")
        if self.parquet is not None:
            write_curve(curve, self.parquet, "parquet")
        if self.plot is not None:
            figure = curve.plot(band=self._band(), against=others)
            write_curve(curve, self.plot, figure=figure)


def _all_loads(bench: BenchData) -> tuple[float, ...]:
    return bench.analyzer.load_bank.loads_ohm


def _numbers(option: str, text: str) -> tuple[float, ...]:
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        raise UsageError(
            f"{option} {text}: these are no numbers separated by commas.", do="Write 100,200,300."
        ) from None


def _as_options(problem: ValidationError) -> UsageError:
    """Return what is wrong with a plan, by the names of the options."""
    said = []
    for detail in problem.errors():
        key = str((*detail["loc"], *detail.get("ctx", {}).get("path", ()))[0])
        said.append(f"{_PLAN_OPTIONS.get(key, key)}: {words_of_error(detail)}.")
    return UsageError("\n".join(dict.fromkeys(said)), _NOTHING_WRITTEN, "Correct it.")
