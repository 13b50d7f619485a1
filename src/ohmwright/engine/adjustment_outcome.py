"""What the adjustment of a point found, and the result that it puts on record."""

from __future__ import annotations

from dataclasses import dataclass, field

from ohmwright.adjustment.actions import Finish
from ohmwright.estimation.settled_value import Settled
from ohmwright.model.event import PointDone
from ohmwright.model.result import Verdict
from ohmwright.model.step import Point, Timing

from .adjustment_activation import AdjustmentActivation
from .point_measurement import Observation, observation_of
from .session import Session
from .steps.base import Step
from .stop_rules import dated
from .traceability import accuracy_at
from .trim_actuator import TrimActuator


@dataclass
class AdjustmentOutcome:
    """The point of a step whose trim stood at `start` counts, and the activations so far."""

    session: Session
    step: Step
    point: Point
    timing: Timing
    actuator: TrimActuator
    start: int
    activations: list[AdjustmentActivation] = field(default_factory=list)

    @property
    def on_s(self) -> float:
        """Time on in s of all activations so far."""
        return sum(each.on_s for each in self.activations)

    @property
    def trim_moved(self) -> bool:
        """Whether the trim stands elsewhere than it did before."""
        return self.actuator.trim != self.start

    def without_value(self, verdict: Verdict, reason: str) -> Observation:
        """Return an observation with the time on of all activations and the last one's readings."""
        samples = self.activations[-1].samples if self.activations else ()
        return Observation(verdict, reason, None, None, self.on_s, samples)

    def observation_at(self, end: Finish) -> Observation:
        """Return the end as an observation; it has a value only where a confirmation gave one."""
        if end.value is None or end.uncertainty is None or end.dof is None:
            verdict: Verdict = "undecided" if end.ended == "undecided" else "fail"
            return self.without_value(verdict, "; ".join(filter(None, [end.reason, end.left])))
        known = Settled(end.value, end.uncertainty, end.dof, 0.0, settled=True)
        nothing = self.without_value("undecided", "")
        found = observation_of(
            accuracy_at(self.session, self._mode, self.point.load_ohm),
            dated(known, self.session.bench),
            self.point,
            self.timing,
            nothing.on_s,
            nothing.samples,
        )
        return found.with_note(end.reason)

    def done(self, observation: Observation, trim_told_by: str | None = None) -> PointDone:
        """Return the event of the result; nobody is shown a cue any more."""
        self.session.show_cue(None)
        result = observation.result(
            "adjust", self.step, self.point, start_trim=self.start, final_trim=self.actuator.trim
        ).model_copy(update={"trim_told_by": trim_told_by})
        return self.session.point_done(result, "OUTPUT", self._mode)

    @property
    def _mode(self) -> str | None:
        """The point's mode; None where the generator's data name none."""
        data = self.session.bench.generator.data.point(self.point.name)
        return None if data is None else data.mode
