"""What a procedure came to on a simulated bench."""

from __future__ import annotations

from dataclasses import dataclass

from ohmwright.engine.run import overall_verdict
from ohmwright.engine.run_so_far import results
from ohmwright.model.event import Event, RunFinished, StageStarted
from ohmwright.model.result import Result, Verdict, latest
from ohmwright.model.step import Stage


@dataclass(frozen=True)
class ProcedureRun:
    """The events of a run, and what they say."""

    events: tuple[Event, ...]

    @property
    def results(self) -> tuple[Result, ...]:
        """The result of each point, by stage; of one that was measured again, the last."""
        return latest(results(self.events))

    @property
    def verdict(self) -> Verdict:
        """The verdict of the whole run."""
        return overall_verdict(self.results)

    def result(self, step: str, point: str, stage: Stage | None = None) -> Result:
        """Return the result of one point, of the last stage unless `stage` says which.

        Raises LookupError, with the points that there are, for another name.
        """
        found = [
            result
            for result in self.results
            if (result.step, result.point) == (step, point) and stage in (None, result.stage)
        ]
        if not found:
            known = ", ".join(f"{r.step}/{r.point} ({r.stage})" for r in self.results)
            raise LookupError(f"no result of {step}/{point}; there are {known or 'none'}")
        return found[-1]

    def not_passed(self) -> str:
        """Return one line for each point that did not pass, with its reason; empty for none.

        A stage in which nothing was measured has a line, too, but for adjusting, which a procedure
        need not do.
        """
        failed = [_line(result) for result in self.results if result.verdict != "pass"]
        measured = {result.stage for result in self.results}
        begun = [event.stage for event in self.events if isinstance(event, StageStarted)]
        empty = [stage for stage in begun if stage not in measured]
        return "\n".join([*failed, *filter(None, map(self._why_empty, empty))])

    def _why_empty(self, stage: Stage) -> str:
        """Return the line of a stage that has no result; empty where none is due."""
        last = self.events[-1]
        broken_off = [e.stage for e in self.events if isinstance(e, StageStarted)][-1] == stage
        if broken_off and not isinstance(last, RunFinished):
            why = "the run broke off before its first result"
        elif stage == "adjust" and self.results:
            return ""
        else:
            why = "no step of the procedure is of this stage"
        return f"{stage.replace('_', ' ')}: NOT MEASURED: {why}"


def _line(result: Result) -> str:
    value = "" if result.measured is None else f" at {result.measured.value:.1f}"
    limits = ""
    if result.target is not None:
        limits = f", limits {result.target.lower:g} to {result.target.upper:g} {result.target.unit}"
    why = f": {result.reason}" if result.reason else ""
    place = f"{result.stage.replace('_', ' ')}, {result.step}, {result.point}"
    return f"{place}: {result.verdict.upper()}{value}{limits}{why}"
