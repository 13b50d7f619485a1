"""What a procedure asks that its bench may not be able to decide, told before RF.

Nothing is refused for it: such a point ends undecided, and costs RF, rests and somebody's time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ohmwright.model.hardware import GeneratorData
from ohmwright.model.positions import Position
from ohmwright.model.step import Point, Stage

from .as_left_evidence import corresponding_point
from .asked_current import asked_current_ma
from .asked_power import adjusted_power_shortfall, set_power_shortfall
from .decidability import (
    Cause,
    Severity,
    Shortfall,
    count_shortfall,
    rest_shortfall,
    rule_and_digit_shortfalls,
    tail_shortfall,
    time_shortfall,
)
from .measured_value import Accuracy
from .point_measurement import OutputPointsStep
from .procedure_file import ProcedureFile
from .requirements import Abilities
from .room import Room
from .steps.base import Step, TimedStep


@dataclass(frozen=True)
class Foreseen:
    """Something that the bench may not be able to decide, at its place in the procedure."""

    severity: Severity
    line: int
    column: int
    step: str
    what: str
    """Where and what, as a clause for a person."""


def foreseen(
    file: ProcedureFile, stages: tuple[Stage, ...], bench: Abilities, accuracy: Accuracy | None
) -> tuple[Foreseen, ...]:
    """Return what `bench` may not be able to decide of `stages`, in the order of the file.

    What has one cause at one place of the file is told once, for the point where it is worst.
    `accuracy`: of the analyzer's readings, by its certificate.
    """
    found: dict[tuple[Cause, Position], list[tuple[Step, str, Shortfall]]] = {}
    for step in file.procedure.step:
        if isinstance(step, TimedStep) and set(step.stages) & set(stages):
            for where, shortfall in _shortfalls(file, step, bench, accuracy):
                place = file.position(step.name, shortfall.key)
                found.setdefault((shortfall.cause, place), []).append((step, where, shortfall))
    told = [_told(place, together) for (_, place), together in found.items()]
    told.extend(_tail(file, stages, bench))
    told.extend(_saving(file, stages, bench))
    return tuple(sorted(told, key=lambda one: (one.line, one.column)))


def _tail(file: ProcedureFile, stages: tuple[Stage, ...], bench: Abilities) -> Iterator[Foreseen]:
    """Yield that the meter may read off too late, once a bench: at the largest current asked for.

    A release by a person has the time that it takes.
    """
    asked = [
        (asked_current_ma(point), step)
        for step in file.procedure.step
        if isinstance(step, TimedStep) and set(step.stages) & set(stages)
        for point in step.judged_points()
    ]
    if asked and not bench.released_by_hand:
        current_ma, step = max(asked, key=lambda one: one[0])
        for shortfall in tail_shortfall(bench.analyzer.meter, current_ma):
            yield _told(file.position(step.name, shortfall.key), [(step, "", shortfall)])


def _saving(file: ProcedureFile, stages: tuple[Stage, ...], bench: Abilities) -> Iterator[Foreseen]:
    """Yield which points nothing as left shows to be saved, where a person is told to save.

    Not of a procedure that measures nothing as left, as for practice.
    """
    measures_as_left = any(file.procedure.steps_in("as_left"))
    if bench.has_port or "adjust" not in stages or not measures_as_left:
        return
    unseen = [
        (step, point.name)
        for step in file.procedure.step
        if isinstance(step, TimedStep) and step.service_point(bench.generator) is not None
        for point in step.judged_points()
        if not corresponding_point(file.procedure, bench.generator, point.name, point.load_ohm)
    ]
    if unseen:
        names, first = ", ".join(name for _, name in unseen), unseen[0][0]
        what = (
            f"{names}: that the adjustment is saved will rest on a person's word alone; a point as "
            "left in the same mode and load, at full setting, would show it"
        )
        yield Foreseen("note", *file.position(first.name, "point"), first.name, what)


def _told(place: Position, together: list[tuple[Step, str, Shortfall]]) -> Foreseen:
    """Return the worst of what has one cause at one place, and say how many there are."""
    step, where, worst = max(together, key=lambda one: one[2].times)
    others = len(together) - 1
    also = f" ({others} more like it)" if others else ""
    return Foreseen(worst.severity, *place, step.name, f"{where}{worst.what}{also}")


def _shortfalls(
    file: ProcedureFile, step: TimedStep, bench: Abilities, accuracy: Accuracy | None
) -> Iterator[tuple[str, Shortfall]]:
    """Yield each shortfall of a step with its point's name, empty for the step as a whole."""
    timing, meter = file.procedure.timing(step), bench.analyzer.meter
    typed, most_on_s = bench.read_by_eye, _most_on_s(step, bench)
    for shortfall in time_shortfall(timing, meter, most_on_s, typed=typed):
        yield "", shortfall
    for point in step.judged_points():
        room = Room(point, timing, meter, accuracy)
        for shortfall in (
            *rule_and_digit_shortfalls(room),
            *rest_shortfall(room, bench.generator),
            *_of_count(step, room, bench),
            *_of_power(step, point, bench.generator),
        ):
            yield f"{point.name}: ", shortfall


def _of_count(step: TimedStep, room: Room, bench: Abilities) -> Iterator[Shortfall]:
    """Yield that a count of the point's trim is too large, where the data say how large it is."""
    point = step.service_point(bench.generator)
    if point is not None and point.count_ma is not None:
        yield from count_shortfall(room, point.count_ma)


def _of_power(step: TimedStep, point: Point, generator: GeneratorData) -> Iterator[Shortfall]:
    """Yield that the generator's data say another power than the point asks for."""
    yield from adjusted_power_shortfall(step, point, generator)
    if isinstance(step, OutputPointsStep):
        mode = next((mode for mode in generator.modes if mode.name == step.mode), None)
        yield from set_power_shortfall(point, mode, point.setting_w or step.setting_w)


def _most_on_s(step: TimedStep, bench: Abilities) -> float:
    """Return the longest activation that load bank, ON command and service mode allow."""
    analyzer, service = bench.analyzer, bench.generator.service
    limits_s = [analyzer.load_bank.max_on_s]
    if analyzer.activation.max_limit_s is not None:
        limits_s.append(analyzer.activation.max_limit_s)
    if service is not None and step.service_point(bench.generator) is not None:
        limits_s.append(service.timeout_s)
    return min(limits_s)
