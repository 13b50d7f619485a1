"""Every load of a run is connected once before RF: one that is missing is not to end it half-way.

A data file may list a load resistance that the instrument has not. Nothing but the instrument can
tell, and it would not be asked before the first point at that load, after others were measured.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from ohmwright.model.errors import InstrumentRefused, LinkError, ProtocolError

from .job import Job
from .session import Session
from .steps.base import Step, TimedStep

_KEYS = ("load_ohm", "loads_ohm")


class _NeededLoad(NamedTuple):
    """A load resistance, with the first step that needs it and the key that asks for it."""

    load_ohm: float
    step: str
    key: str


async def connect_each_load(job: Job, session: Session) -> None:
    """Connect each load that `job` still needs, with RF off; nothing where a person connects them.

    Raises InstrumentRefused or ProtocolError, by step and place in the procedure, where the
    analyzer does not take one.
    """
    analyzer = session.bench.analyzer
    if "load" in analyzer.by_hand:
        return
    bank_ohm = analyzer.data.load_bank.loads_ohm
    first = dict[float, _NeededLoad]()
    for one in _needed(job):
        first.setdefault(one.load_ohm, one)
    for one in first.values():
        if one.load_ohm in bank_ohm:  # else it is a leakage path's own
            try:
                await analyzer.set_load(one.load_ohm)
            except (InstrumentRefused, ProtocolError) as problem:
                raise _not_taken(one, problem, job, analyzer.told_in) from None


def _needed(job: Job) -> Iterator[_NeededLoad]:
    """Yield every load of the steps that are not finished, in their order."""
    finished = job.finished_points()
    for stage in job.stages:
        for step in job.file.procedure.steps_in(stage):
            points = step.point_names()
            if not points or any((stage, step.name, point) not in finished for point in points):
                yield from _loads_of(step)


def _loads_of(step: Step) -> Iterator[_NeededLoad]:
    if not isinstance(step, TimedStep):
        return
    for key in _KEYS:
        loads_ohm = getattr(step, key, ())
        for load_ohm in loads_ohm if isinstance(loads_ohm, tuple) else (loads_ohm,):
            yield _NeededLoad(load_ohm, step.name, key)


def _not_taken(one: _NeededLoad, problem: LinkError, job: Job, told_in: str) -> LinkError:
    """Return `problem` with the step that needs the load, and with what to do about it."""
    place = job.file.place(one.step, one.key)
    return type(problem)(
        f"{place}: step '{one.step}' needs {one.load_ohm:g} ohm, and the analyzer did not take "
        f"it: {problem.happened}",
        "Nothing was switched on.",
        f"Does the analyzer have this load? If not, take it out of loads_ohm in its data and out "
        f"of the procedure; else check 'set_load' and 'load' in {told_in}, and the cabling.",
    )
