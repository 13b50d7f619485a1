"""One whole monopolar job (as found, six adjustment points, save, as left) on simulated units.

    python scripts/bench/job.py [--seeds 3 4 5]

Ours beside a person who adjusts by eye and keeps the procedure's rests, and beside an oracle that
knows sign, gain, lag, droop and noise, waits only for the lag and for the duty, presses at once.
Prints one table and one JSON line.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace

import anyio
import numpy as np
from rich.console import Console
from rich.table import Table

from ohmwright.api.bench_data import read_bench
from ohmwright.api.open_bench import assemble_bench, simulated_bench
from ohmwright.engine.activation import Activation
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import ProcedureFile, read_procedure
from ohmwright.engine.requirements import full_power_w
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.engine.sampling import samples
from ohmwright.engine.session import Session
from ohmwright.engine.steps.adjust import AdjustStep
from ohmwright.engine.steps.base import ModeStep, SettingStep, TimedStep
from ohmwright.engine.steps.contact_quality import ContactQualityStep
from ohmwright.engine.steps.crest_factor import CrestFactorStep
from ohmwright.engine.steps.leakage import LeakageStep
from ohmwright.engine.steps.monotonicity import MonotonicityStep
from ohmwright.estimation.duty import Duty
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.analyzer import Reading
from ohmwright.instruments.bench import Bench
from ohmwright.model.bench_file import Simulation
from ohmwright.model.decision import SimpleAcceptance
from ohmwright.model.event import PointDone, RunFinished
from ohmwright.model.shipped import shipped
from ohmwright.model.step import STAGES, Point
from ohmwright.model.tolerance import Allowance, Target, target_of
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.links.memory import MemoryLink
from scripts.bench.oracle import oracle_time
from scripts.bench.population import Profile, Unit, draw

_BAR, _LANDING_BAR = 0.35, 0.5
_LOOK_S, _AFTER_MOVE_S = 5.0, 3.0
_COARSE = 10
_MOST_TRIES = 6
_WHO = ("", "by_eye_", "oracle_")
Fetch = Callable[[], Awaitable[Reading]]
"""How a reading is asked for."""


@dataclass(frozen=True)
class Whole:
    """One job: seconds, and the true landing errors in tolerances."""

    rf_on_s: float
    bench_s: float
    landing: tuple[float, ...] = ()


def opened(seed: int) -> tuple[Bench, SimulatedBench]:
    """The demo bench with the unit of `seed`."""
    data = read_bench(shipped("benches", "demo.toml"))
    simulation = Simulation(seed=seed, age_months=48)
    data = replace(data, file=data.file.model_copy(update={"simulation": simulation}))
    clock = VirtualClock()
    hardware = simulated_bench(data, clock)
    links = [
        MemoryLink(name, port, clock)
        for name, port in (
            ("analyzer", hardware.analyzer_port),
            ("generator", hardware.generator_port),
        )
    ]
    return assemble_bench(data, clock, links[0], links[1], AbsentOperator()), hardware


def landing(target: Target, hardware: SimulatedBench) -> float:
    """Error of the point just adjusted, as a rested activation free of lag and noise would read.

    In tolerances. What the meter reads is what is adjusted, so its own gain error is left in.
    """
    rig = hardware._rig
    circuit = rig.circuit()
    seen = circuit.pass_band * rig.plant.meter._gain * rig.plant.transient.drooped(6.0)
    return (seen * circuit.target_ma - target.value) / target.half_width


async def ours(file: ProcedureFile, seed: int) -> Whole:
    """The engine's run."""
    bench, hardware = opened(seed)
    adjusts = {s.name: s for s in file.procedure.steps_in("adjust") if isinstance(s, AdjustStep)}
    events, errors = [], []
    async for event in run(Job(file, STAGES, "job"), bench):
        events.append(event)
        if isinstance(event, PointDone) and event.result.stage == "adjust":
            errors.append(landing(adjusts[event.result.step].target_point().target, hardware))
    end = events[-1]
    assert isinstance(end, RunFinished)
    short = [r for r in results(events) if r.verdict != "pass" and r.stage == "adjust"]
    if short:
        print(f"seed {seed}: {[(r.point, r.verdict, r.reason) for r in short]}")
    return Whole(end.on_s, end.bench_time_s, tuple(errors))


async def by_eye(file: ProcedureFile, seed: int) -> Whole:
    """A person who keeps the rests, reads at 6 s, and steps coarse, then fine."""
    bench, hardware = opened(seed)
    session, errors = Session(bench), []
    for stage in STAGES:
        for step in file.procedure.steps_in(stage):
            timing = file.procedure.timing(step) if isinstance(step, TimedStep) else None
            if isinstance(step, AdjustStep) and timing is not None:
                await _adjust_by_eye(session, step, timing.rest_s, timing.max_on_s)
                errors.append(landing(step.target_point().target, hardware))
            elif isinstance(step, ModeStep) and timing is not None:
                leaks = isinstance(step, LeakageStep)
                await bench.analyzer.set_path("LEAKAGE" if leaks else "OUTPUT")
                for point in _points(step):
                    fetch = bench.analyzer.fetch_leakage if leaks else None
                    assert point.setting_w is not None  # as for every point of a mode
                    await bench.generator.select(step.mode, point.setting_w)
                    await _read_once(session, point, point.setting_w, timing.rest_s, fetch)
            elif isinstance(step, ContactQualityStep):
                await bench.clock.sleep(step.wait_s * (step.to_ohm - step.from_ohm) / step.step_ohm)
        if stage == "adjust":
            await bench.generator.store_trims()
            await bench.generator.leave_service()
    bench_s = bench.clock.now_s() - session.started_s
    return Whole(session.on_s, bench_s, tuple(errors))


def _points(step: AdjustStep | ModeStep) -> tuple[Point, ...]:
    """One an activation; where it is no output that is judged, the setting within 5 %."""
    match step:
        case MonotonicityStep():
            return tuple(_at_setting(step.load_ohm, setting_w) for setting_w in step.settings_w)
        case CrestFactorStep():
            return (_at_setting(step.load_ohm, step.setting_w),)
        case AdjustStep():
            return (step.target_point(),)
        case SettingStep():
            return step.points()
        case _:
            raise TypeError(f"a step of kind {step.kind} has no points to read")


def _at_setting(load_ohm: float, setting_w: float) -> Point:
    target = target_of("power_w", setting_w, Allowance(percent=5))
    return Point(
        name=f"{setting_w:g} W",
        load_ohm=load_ohm,
        setting_w=setting_w,
        target=target,
        decision=SimpleAcceptance(),
    )


async def _rest(session: Session, rest_s: float) -> None:
    await session.bench.clock.sleep(rest_s)


async def _read_once(
    session: Session, point: Point, power_w: float, rest_s: float, fetch: Fetch | None = None
) -> float:
    await _rest(session, rest_s)
    async with session.activation(load_ohm=point.load_ohm, power_w=power_w, limit_s=20) as opened:
        return await _read_at(session, opened, 6.0, fetch)


async def _read_at(
    session: Session, opened: Activation, age_s: float, fetch: Fetch | None = None
) -> float:
    analyzer = session.bench.analyzer
    last = 0.0
    readings = samples(
        opened,
        fetch or analyzer.fetch_current,
        session.bench.clock,
        0.1,
        age_s + 1.0,
        analyzer.digit_ma,
    )
    async for sample in readings:
        last = sample.current_ma
        if sample.age_s >= age_s:
            break
    return last


async def _adjust_by_eye(session: Session, step: AdjustStep, rest_s: float, limit_s: float) -> None:
    bench, point = session.bench, step.target_point()
    await bench.analyzer.set_path("OUTPUT")
    await bench.generator.enter_service(step.point)
    tolerance, polarity = point.target.half_width, 1
    power_w = full_power_w(bench.generator.data, step.point)
    for _ in range(_MOST_TRIES):
        await _rest(session, rest_s)
        async with session.activation(
            load_ohm=point.load_ohm, power_w=power_w, limit_s=limit_s
        ) as opened:
            reading, last = await _read_at(session, opened, _LOOK_S), None
            while opened.age_s < limit_s - 4:
                off = reading - point.target.value
                if abs(off) <= 0.5 * tolerance:
                    break
                if last is not None and off * last > 0 and abs(off) > abs(last) + 0.3 * tolerance:
                    polarity = -polarity
                last = off
                size = _COARSE if abs(off) > 4 * tolerance else 1
                await bench.generator.move_trim(-polarity * size if off > 0 else polarity * size)
                reading = await _read_at(session, opened, opened.age_s + _AFTER_MOVE_S)
        confirmed = await _read_once(session, point, power_w, rest_s)
        if abs(confirmed - point.target.value) <= tolerance:
            return


def oracle(file: ProcedureFile, seed: int) -> Whole:
    """Times that the lag, the noise and the duty of load bank and generator leave even it."""
    bench, hardware = opened(seed)
    duties = [Duty(bench.analyzer.data.load_bank.max_power_w, bench.analyzer.data.load_bank.duty)]
    generator = bench.generator.data
    duties.append(Duty(max(m.max_setting_w for m in generator.modes), generator.duty or 1.0))
    rf_on_s = bench_s = 0.0
    for stage in STAGES:
        for step in file.procedure.steps_in(stage):
            if isinstance(step, ContactQualityStep):
                bench_s += step.wait_s * (step.to_ohm - step.from_ohm) / step.step_ohm
            elif isinstance(step, AdjustStep | ModeStep):
                for point in _points(step):
                    on_s = _oracle_on_s(point, bench, hardware, adjusting=stage == "adjust")
                    power_w = _power_w(point, leaks=isinstance(step, LeakageStep))
                    rest_s = max(duty.rest_s(power_w, on_s) for duty in duties)
                    duties = [d.after(0, rest_s).after(power_w, on_s) for d in duties]
                    rf_on_s, bench_s = rf_on_s + on_s, bench_s + rest_s + on_s
    return Whole(rf_on_s, bench_s)


def _power_w(point: Point, *, leaks: bool) -> float:
    if leaks or point.target.quantity == "current_ma":
        return (point.target.value / 1000) ** 2 * point.load_ohm
    return point.target.value


def _oracle_on_s(point: Point, bench: Bench, hardware: SimulatedBench, *, adjusting: bool) -> float:
    dynamics, meter = hardware.truth.unit.dynamics, bench.analyzer.data.meter
    target, tolerance = point.target.value, point.target.half_width or 0.05 * point.target.value
    if point.target.quantity == "power_w":
        target = 1000 * float(np.sqrt(target / point.load_ohm))
        tolerance = 0.5 * target * tolerance / point.target.value
    unit: Unit = replace(
        draw(Profile(), 0, 0)[0],
        gain_ma=1e-3,
        start_ma=target,
        lag_s=dynamics.lag_s,
        second_lag_s=dynamics.second_lag_s,
        dead_s=dynamics.dead_s,
        window_s=meter.window_s,
        interval_s=1 / meter.readings_per_s,
        noise=dynamics.noise,
        noise_phi=float(np.exp(-1 / meter.readings_per_s / dynamics.noise_correlation_s)),
        droop=0.0,
        target_ma=target,
        tolerance_ma=tolerance,
    )
    both_s = oracle_time(unit).rf_on_s
    return both_s if adjusting else both_s / 2


def main() -> None:
    """Print the table and the JSON line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--seeds", type=int, nargs="+", default=[3])
    seeds = parser.parse_args().seeds
    file = read_procedure(shipped("procedures", "demo-monopolar.toml"))
    table = Table(title="Whole monopolar job, demo unit")
    for column in (
        "seed",
        "RF-on s",
        "by eye",
        "oracle",
        "bench s",
        "by eye",
        "oracle",
        "ours ÷ by eye",
        "worst landing",
        "by eye",
    ):
        table.add_column(column, justify="right")
    rows = []
    for seed in seeds:
        mine, eye = anyio.run(ours, file, seed), anyio.run(by_eye, file, seed)
        best = oracle(file, seed)
        ratio = mine.bench_s / eye.bench_s
        worst, worst_by_eye = (max(abs(e) for e in w.landing) for w in (mine, eye))
        seconds = [mine.rf_on_s, eye.rf_on_s, best.rf_on_s]
        seconds += [mine.bench_s, eye.bench_s, best.bench_s]
        table.add_row(
            str(seed),
            *(f"{s:.0f}" for s in seconds),
            f"{ratio:.3f}",
            f"{worst:.2f}",
            f"{worst_by_eye:.2f}",
        )
        names = [f"{who}{what}" for what in ("rf_on_s", "bench_s") for who in _WHO]
        rows.append(
            {"seed": seed}
            | dict(zip(names, seconds, strict=True))
            | {"ratio": ratio, "worst_landing": worst, "by_eye_worst_landing": worst_by_eye}
        )
    Console(width=110).print(table)
    met = sum(r["ratio"] <= _BAR and r["worst_landing"] <= _LANDING_BAR for r in rows)
    print(f"{met} of {len(rows)} within bench seconds ≤ {_BAR} and landing ≤ {_LANDING_BAR}")
    print(json.dumps({"bench": "job", "rows": rows}))


if __name__ == "__main__":
    main()
