"""The live view of a sweep: progress by points, with the time that is left."""

from __future__ import annotations

from ohmwright.engine.sweep_estimate import SweepEstimate
from ohmwright.model.event import Event, PointDone, StepStarted
from ohmwright.wire.clock import Clock

from .live import LiveView

_SHORT_S = 90.0
"""Times under this are told in seconds."""


class SweepView(LiveView):
    """A progress bar that counts points and says how long the others will take, and RF's state."""

    def __init__(self, clock: Clock) -> None:
        super().__init__(clock, 0)
        self._estimate: SweepEstimate | None = None
        self._before = self._done = 0
        self._begun_s = clock.now_s()

    def expect(self, estimate: SweepEstimate, *, done: int) -> None:
        """Take the cost of the whole sweep; `done`: its points that are on record already."""
        self._estimate, self._before, self._done = estimate, done, done
        self.set_total(estimate.points, done)

    def on_event(self, event: Event) -> None:
        """Count a point; say how much time is left."""
        super().on_event(event)
        self._done += isinstance(event, PointDone)
        if isinstance(event, StepStarted | PointDone) and self._estimate is not None:
            self.describe(f"sweep, {duration(self._left_s(self._estimate))} left")

    def _left_s(self, estimate: SweepEstimate) -> float:
        """Return the time left, at the pace of the points since the sweep was begun or resumed."""
        rest = SweepEstimate(estimate.point_s[self._before :], 0.0, 0.0)
        return rest.left_s(self._done - self._before, self._clock.now_s() - self._begun_s)


def duration(seconds: float) -> str:
    """Return a time in seconds, in minutes, or in hours and minutes."""
    if seconds < _SHORT_S:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 100 else f"{minutes // 60} h {minutes % 60:02d} min"
