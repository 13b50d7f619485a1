"""A job: a procedure to be run, in which stages, and what is known before it begins."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from ohmwright.adjustment.fleet_prior import FleetPrior
from ohmwright.model.assignment import NO_ASSIGNMENT, Assignment
from ohmwright.model.event import Event
from ohmwright.model.step import Stage

from .procedure_file import ProcedureFile
from .run_so_far import results
from .stage import finished_points


@dataclass(frozen=True)
class Job:
    """A procedure to be run, its stages, the number of the run, and what is known before."""

    file: ProcedureFile
    stages: tuple[Stage, ...]
    run_id: str
    earlier: tuple[Event, ...] = ()
    """The events so far of a run that is resumed; empty for a new run."""
    fleet: Mapping[str, FleetPrior] = field(default_factory=dict)
    """What earlier units of the model say of gain and lag, by adjustment point."""
    accept_expired: bool = False
    """Whether an analyzer whose calibration is past its date may be used."""
    assignment: Assignment = NO_ASSIGNMENT
    """What the run is done for."""

    def finished_points(self) -> frozenset[tuple[Stage, str, str]]:
        """Return stage, step and point of every point that is not measured again."""
        return finished_points(self.file.procedure, results(self.earlier))
