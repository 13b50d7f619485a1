"""The plan of a sweep: what is measured, in which order and with which times."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

from ohmwright.engine.decidability import needed_after_age_s
from ohmwright.engine.procedure import Procedure
from ohmwright.engine.procedure_file import ProcedureFile
from ohmwright.engine.steps.sweep import SweepStep
from ohmwright.engine.sweep_estimate import SweepEstimate, estimated
from ohmwright.engine.sweep_points import SweepPoints
from ohmwright.model.document import document
from ohmwright.model.errors import OutOfCapability, UsageError
from ohmwright.model.event import DocumentKept, Event
from ohmwright.model.hardware import MeterData, NotNegative, Positive
from ohmwright.model.positions import key_positions
from ohmwright.model.run_events import SWEEP_TITLE
from ohmwright.model.source import load, parse, refused_by_name
from ohmwright.model.step import Timing

from .bench_data import BenchData, read_bench
from .paths import given_path

_AFTER_AGE_S = 9.0
"""An activation may last so long beyond the age, or as long as the meter needs."""
_NAME = "sweep"
KEYS = {"modes": "modes", "loads_ohm": "loads_ohm", "max_on_s": "age_s"}
"""The key of a plan by the key of its step that a bench cannot do."""


class OnBench(Protocol):
    """What knows its bench file."""

    @property
    def data(self) -> BenchData:
        """Its content, and that of the files that it names."""


class SweepPlan(SweepPoints):
    """The keys of a sweep, as a file or options give them."""

    age_s: Positive = 6.0
    """Age of a rested activation at which each value holds."""
    rest_s: NotNegative = 15.0
    """Rest before each activation; the duty of load bank or generator may ask for more."""


class Sweep(SweepPlan):
    """What a sweep measures: every setting of each mode into every load, so many times.

    Frozen; as a TOML file it has the same keys.

    >>> plan = Sweep(modes={"cut": [50, 100]}, loads_ohm=[200, 500], order="snake")
    >>> [point.name() for point in plan.points()]  # doctest: +NORMALIZE_WHITESPACE
    ['cut 50 W, 200 ohm', 'cut 50 W, 500 ohm', 'cut 100 W, 500 ohm', 'cut 100 W, 200 ohm']
    """

    if not TYPE_CHECKING:  # checkers know the keys from the fields

        def __init__(self, **given: Any) -> None:
            """Raises UsageError that names each key that makes no sense."""
            with refused_by_name("Sweep", SweepPlan):
                super().__init__(**given)

    @classmethod
    def read(cls, path: str | PathLike[str]) -> Sweep:
        """Return the plan of a TOML file. Raises SourceError with line and column."""
        return cls(**dict(load(given_path("Sweep.read()", path), SweepPlan)))

    def timing(self, meter: MeterData, *, typed: bool = False) -> Timing:
        """Return the times of each activation; its limit is what `meter` needs to see it settle.

        `typed`: a person types what the meter shows.
        """
        after_s = max(_AFTER_AGE_S, needed_after_age_s(meter, typed=typed))
        return Timing(age_s=self.age_s, rest_s=self.rest_s, max_on_s=self.age_s + after_s)

    def estimate(self, bench: OnBench | str | PathLike[str]) -> SweepEstimate:
        """Return points, bench time, RF time and heat that the sweep will cost on a bench.

        `bench`: an open one, or a bench file, of which nothing is opened. Raises OutOfCapability
        where it cannot do it.
        """
        opened = None if isinstance(bench, str | PathLike) else getattr(bench, "data", None)
        data = opened if isinstance(opened, BenchData) else _read(bench)
        self.refuse_impossible(data)
        return self.cost(data)

    def cost(self, data: BenchData, done: Collection[str] = ()) -> SweepEstimate:
        """Return what the sweep will cost on a bench that can do it, without the points `done`."""
        points = [point for point in self.points() if point.name() not in done]
        timing = self.timing(data.analyzer.meter, typed=data.read_by_eye)
        return estimated(points, timing, data.analyzer, data.generator)

    def refuse_impossible(self, bench: BenchData, keys: Mapping[str, str] = KEYS) -> None:
        """Raise OutOfCapability, one line for each thing that `bench` cannot do of it.

        `keys`: what the caller names each key of the step.
        """
        file = self.procedure_file(bench)
        (step,) = file.procedure.step
        found = step.complaints(bench.abilities(attended=True), file.procedure.timing(step))
        lines = [f"{keys[key]}: {what}." for key, what in dict.fromkeys(found) if key in keys]
        if lines:
            raise OutOfCapability(
                "\n".join(lines),
                "Nothing was switched on.",
                "Correct it, or use another analyzer or unit.",
            )

    def procedure_file(self, bench: BenchData) -> ProcedureFile:
        """Return the procedure of one step that carries the sweep out, as its record keeps it."""
        return _procedure_of_text(self._text(bench))

    def _text(self, bench: BenchData) -> str:
        timing = self.timing(bench.analyzer.meter, typed=bench.read_by_eye)
        modes = ", ".join(
            f"{json.dumps(mode)} = {_numbers(settings_w)}"
            for mode, settings_w in self.modes.items()
        )
        return f"""\
title = "{SWEEP_TITLE}"
revision = "1"
model = {json.dumps(bench.generator.model)}

[[step]]
kind = "sweep"
name = "{_NAME}"
stages = ["as_found"]
modes = {{ {modes} }}
loads_ohm = {_numbers(self.loads_ohm)}
repeats = {self.repeats}
order = "{self.order}"
order_seed = {self.order_seed}
on_fault = "{self.on_fault}"
age_s = {timing.age_s!r}
rest_s = {timing.rest_s!r}
max_on_s = {timing.max_on_s!r}
"""


def recorded_sweep(events: Sequence[Event]) -> tuple[Sweep, ProcedureFile]:
    """Return the plan of a run on record, and its procedure with the text that was kept.

    Raises UsageError where the run is of something else.
    """
    texts = (e.document for e in events if isinstance(e, DocumentKept))
    text = next((one.text for one in texts if one.role == "procedure"), "")
    file = _procedure_of_text(text) if text else None
    step = None if file is None else file.procedure.step[0]
    if file is None or len(file.procedure.step) != 1 or not isinstance(step, SweepStep):
        raise UsageError(
            "This run is no sweep.", do="Go on with a run of a procedure by 'calibrate --resume'."
        )
    timing = file.procedure.timing(step)
    points = {name: getattr(step, name) for name in SweepPoints.model_fields}
    return Sweep(**points, age_s=timing.age_s, rest_s=timing.rest_s), file


def _procedure_of_text(text: str) -> ProcedureFile:
    path = Path(f"{_NAME}.toml")
    procedure = parse(path, text, Procedure)
    return ProcedureFile(procedure, path, document("procedure", path, text), key_positions(text))


def _numbers(values: Sequence[float]) -> str:
    return f"[{', '.join(map(repr, values))}]"


def _read(bench: Any) -> BenchData:
    """Return the data of a bench file. Raises UsageError for what is neither bench nor path."""
    return read_bench(given_path("estimate()", bench))
