"""One invented unit through a procedure, by the engine that runs real ones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import anyio

from ohmwright.adjustment.fleet_prior import FleetPrior
from ohmwright.engine.capability import refuse_impossible
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import ProcedureFile
from ohmwright.engine.run import run
from ohmwright.model.errors import OhmwrightError
from ohmwright.model.event import (
    ActivationClosed,
    Event,
    PointDone,
    ProtectionProved,
    RunFinished,
    StepStarted,
)
from ohmwright.model.result import Result
from ohmwright.model.step import STAGES, Stage
from ohmwright.simulator.bench import SimulatedBench

from .outcome import PointOutcome, StepCost, UnitOutcome, UnitVerdict
from .population import unit_seed
from .rehearsed_bench import RehearsedBench
from .true_value import true_value

StepPlace = tuple[Stage, str]
"""A stage and the name of one of its steps."""


@dataclass(frozen=True)
class Rehearsed:
    """A procedure with the bench, the stages and the seed of its rehearsal."""

    file: ProcedureFile
    bench: RehearsedBench
    seed: int = 1
    stages: tuple[Stage, ...] = STAGES
    fleet: Mapping[str, FleetPrior] = field(default_factory=dict)
    """What records taught of the model's adjustment points."""
    drawn_from: str = "the data files"
    """What the units are drawn from, in words."""

    def check(self) -> None:
        """Raise ProcedureError or another OhmwrightError where no unit could be run at all."""
        bench, _ = self.bench.opened(unit_seed(self.seed, 0))
        refuse_impossible(self.file, self.stages, bench)

    def run_unit(self, unit: int) -> UnitOutcome:
        """Return what the run of unit number `unit` came to; the same whoever asks."""
        return anyio.run(self._run_unit, unit)

    async def _run_unit(self, unit: int) -> UnitOutcome:
        seed = unit_seed(self.seed, unit)
        bench, hardware = self.bench.opened(seed)
        watch = UnitWatch(self.file, hardware)
        job = Job(self.file, self.stages, f"rehearsal-{unit}", fleet=self.fleet)
        verdict: UnitVerdict = "cut short"
        problem = ""
        try:
            async for event in run(job, bench):
                watch.note(event)
                if isinstance(event, RunFinished):
                    verdict = event.verdict
        except OhmwrightError as error:
            problem = f"{type(error).__name__}: {error.happened}"
        return UnitOutcome(
            unit=unit,
            seed=seed,
            verdict=verdict,
            problem=problem,
            bench_s=round(bench.clock.now_s(), 3),
            on_s=round(hardware.truth.rf_on_s, 3),
            load_heat=watch.load_heat,
            generator_warmth=watch.generator_warmth,
            energy_j=hardware.truth.energy_j,
            points=watch.points(),
            costs=watch.costs(),
        )


class UnitWatch:
    """Looks at each event of a run, RF being off, and at the truth behind it."""

    def __init__(self, file: ProcedureFile, hardware: SimulatedBench) -> None:
        self._procedure, self._hardware = file.procedure, hardware
        self.load_heat = self.generator_warmth = 0.0
        self._found: dict[tuple[Stage, str, str], tuple[Result, float | None]] = {}
        self._costs: dict[StepPlace, list[float]] = {}
        self._place: StepPlace | None = None
        self._since_s = self._on_s = 0.0

    def note(self, event: Event) -> None:
        """Keep what an event tells of results, time and heat."""
        truth = self._hardware.truth
        if isinstance(event, ActivationClosed | ProtectionProved):
            self.load_heat = max(self.load_heat, truth.bank_heat)
            self.generator_warmth = max(self.generator_warmth, truth.stage_warmth)
        elif isinstance(event, PointDone):
            result = event.result
            self._found[result.stage, result.step, result.point] = result, self._true(result)
            self._charge((result.stage, result.step), event.bench_s)
        elif isinstance(event, StepStarted):
            self._charge(self._place, event.bench_s)
            self._place = event.stage, event.step
        elif isinstance(event, RunFinished):
            self._charge(self._place, event.bench_s)

    def points(self) -> tuple[PointOutcome, ...]:
        """Return the outcome of each point; an adjusted one by the trims that the run has left."""
        return tuple(
            _outcome(result, self._true(result) if result.stage == "adjust" else true)
            for result, true in self._found.values()
        )

    def costs(self) -> tuple[StepCost, ...]:
        """Return what each step took, in the order in which they were done."""
        return tuple(
            StepCost(stage, step, round(bench_s, 3), round(on_s, 3))
            for (stage, step), (bench_s, on_s) in self._costs.items()
        )

    def _true(self, result: Result) -> float | None:
        generator = self._hardware.truth.unit.profile.data
        return true_value(result, self._procedure, generator, self._hardware.truth)

    def _charge(self, place: StepPlace | None, now_s: float) -> None:
        """Charge the time since the last charge to a step; what came before all of them to none."""
        on_s = self._hardware.truth.rf_on_s
        if place is not None:
            cost = self._costs.setdefault(place, [0.0, 0.0])
            cost[0] += now_s - self._since_s
            cost[1] += on_s - self._on_s
        self._since_s, self._on_s = now_s, on_s


def _outcome(result: Result, true: float | None) -> PointOutcome:
    target, measured = result.target, result.measured
    inside = error = expanded = None
    if target is not None and measured is not None:
        width = target.half_width or target.value  # an upper limit is as wide as it is high
        if true is not None:
            inside = target.lower <= true <= target.upper
            error = (measured.value - true) / width
        if measured.expanded is not None:
            expanded = measured.expanded / width
    return PointOutcome(
        result.stage,
        result.step,
        result.point,
        result.verdict,
        result.on_s,
        inside,
        error,
        expanded,
    )
