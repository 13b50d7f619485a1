"""The command `sweep`: measure power curves, keep them on record, show and write them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from shlex import quote

import anyio
from pydantic import ValidationError

from ohmwright.api.async_bench import AsyncBench
from ohmwright.api.bench_data import BenchChoice, BenchData
from ohmwright.api.curve import Curve
from ohmwright.api.curve_file import read, refuse_unknown_ending, write_curve
from ohmwright.api.curve_plot import band_limits
from ohmwright.api.output_file import refuse_unwritable
from ohmwright.api.sweep_plan import Sweep
from ohmwright.api.sweep_run import SweepRun
from ohmwright.engine.sweep_estimate import SweepEstimate
from ohmwright.model.complaint_words import words_of_error
from ohmwright.model.errors import OhmwrightError, Stopped, UsageError

from .console import CAUTION, err
from .live import showing
from .signals import cancel_on_signal
from .sweep_output import print_estimate, print_sweep
from .sweep_view import SweepView
from .terminal_operator import PlainDisplay, TerminalOperator

_OPTIONS = {"modes": "--mode, --settings", "loads_ohm": "--loads", "max_on_s": "--age"}
"""What the command line calls the keys of a plan."""
_PLAN_OPTIONS = _OPTIONS | {
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
    loads: str
    repeats: int
    order: str
    order_seed: int
    age_s: float
    rest_s: float
    on_fault: str
    plan: Path | None
    """A file that says all of it."""

    def read(self, bench: BenchData) -> Sweep:
        """Return the plan; without loads, those of the load bank. Raises UsageError."""
        if self.plan is not None:
            return Sweep.read(self.plan)
        if not self.modes:
            raise UsageError("Say what to measure.", do="Give --mode with --settings, or --plan.")
        loads_ohm = _numbers("--loads", self.loads) if self.loads else _all_loads(bench)
        try:
            return Sweep.model_validate(
                {
                    "modes": dict(map(self._mode, self.modes)),
                    "loads_ohm": loads_ohm,
                    "repeats": self.repeats,
                    "order": self.order.replace("-", " "),
                    "order_seed": self.order_seed,
                    "age_s": self.age_s,
                    "rest_s": self.rest_s,
                    "on_fault": self.on_fault.replace("-", " "),
                }
            )
        except ValidationError as problem:
            raise _as_options(problem) from None

    def _mode(self, text: str) -> tuple[str, tuple[float, ...]]:
        name, given, settings = text.partition("=")
        if not given and not self.settings:
            raise UsageError(f"--mode {text}: at which settings?", do="Give --settings 50,100.")
        return name, _numbers("--settings", settings if given else self.settings)


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
        for option, path, endings in (
            ("--csv", self.csv, ()),
            ("--parquet", self.parquet, ()),
            ("--plot", self.plot, (".svg", ".png", ".pdf")),
        ):
            if path is not None:
                if endings and path.suffix.lower() not in endings:
                    raise UsageError(
                        f"{option} {path}: a picture is no file with this ending.",
                        _NOTHING_WRITTEN,
                        f"Give a name that ends in {', '.join(endings)}.",
                    )
                refuse_unwritable(path, overwrite=self.overwrite)
        if self.parquet is not None:
            refuse_unknown_ending(Path("curve.parquet"))

    def limits(self) -> str | PathLike[str] | float | None:
        """Return the limits of the picture. Raises SourceError for a wrong procedure file."""
        if not self.band:
            return None
        try:
            return float(self.band)
        except ValueError:
            band_limits(Path(self.band))
            return Path(self.band)

    def write(self, curve: Curve, others: Sequence[Curve]) -> None:
        """Write each file. Raises UsageError where one cannot be written."""
        if self.csv is not None:
            write_curve(curve, self.csv, "csv")
        if self.parquet is not None:
            write_curve(curve, self.parquet, "parquet")
        if self.plot is not None:
            figure = curve.plot(band=self.limits(), against=others)
            write_curve(curve, self.plot, figure=figure)


@dataclass(frozen=True)
class SweepRequest:
    """A sweep as asked for on the command line."""

    bench: BenchChoice
    plan: PlanOptions
    files: SweepFiles
    records: str | None
    resume: str | None
    accept_expired: bool
    dry_run: bool
    as_json: bool


def run_sweep(request: SweepRequest) -> int:
    """Measure, print, write the files; return 0, or 4 if stopped or a point has no settled value.

    What cannot be done, read or written is refused before anything is opened.
    """
    data = request.bench.read()
    plan = None if request.resume is not None else request.plan.read(data)
    if plan is not None:
        plan.refuse_impossible(data, _OPTIONS)
    request.files.refuse_unwritable()
    request.files.limits()
    others = tuple(map(read, request.files.against))
    if request.dry_run and plan is not None:
        print_estimate(plan.cost(data), as_json=request.as_json)
        return 0
    if data.file.simulation is None:
        err().print(CAUTION, style="yellow")
    sweeps: list[SweepRun] = []
    try:
        anyio.run(_work, request, data, plan, sweeps)
    except OhmwrightError:
        _show(request, sweeps, others)
        raise
    return _show(request, sweeps, others)


async def _work(
    request: SweepRequest, data: BenchData, plan: Sweep | None, sweeps: list[SweepRun]
) -> None:
    """Carry the sweep out; it is appended to `sweeps` once it is begun."""
    person = TerminalOperator(PlainDisplay())
    bench = AsyncBench(data, person, guarded=request.bench.guarded)
    try:
        await bench.reopen()
        view = SweepView(bench.instruments.clock)
        opened = bench.sweep(
            plan,
            request.resume,
            view,
            records=request.records,
            accept_expired=request.accept_expired,
        )
        with opened as sweep:
            sweeps.append(sweep)
            estimate = sweep.plan.cost(data)
            view.expect(estimate, done=sweep.done)
            _tell(estimate)
            with showing(view, bench.instruments), cancel_on_signal():
                await _measured(sweep)
    finally:
        await bench.close()


async def _measured(sweep: SweepRun) -> None:
    try:
        async for _ in sweep.points():
            pass
    except Stopped:  # by a person: what was measured is shown as well
        return


def _tell(estimate: SweepEstimate) -> None:
    """Print on standard error, to a person, what the sweep will cost."""
    if err().is_terminal:
        print_estimate(estimate, as_json=False, console=err())


def _show(request: SweepRequest, sweeps: Sequence[SweepRun], others: Sequence[Curve]) -> int:
    """Print and write what was measured; return the exit code."""
    if not sweeps or not sweeps[0].done:
        return 4
    (sweep,) = sweeps
    curve = sweep.curve()
    print_sweep(curve, others, sweep.store.database.place, as_json=request.as_json)
    whole = sweep.finished and all(point.settled for point in curve)
    if not sweep.finished:
        where = "" if request.records is None else f" --records {quote(request.records)}"
        err().print(
            f"Points on record: {len(curve)}. Go on with: ohmwright sweep --bench "
            f"{quote(str(request.bench.path))} --resume {sweep.run_id}{where}",
            soft_wrap=True,
        )
    request.files.write(curve, others)
    return 0 if whole else 4


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
