"""What the records of earlier runs taught about adjusting units of a model."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress

from ohmwright.adjustment.fleet_prior import FleetPrior, Learned, learn
from ohmwright.model.errors import RecordError
from ohmwright.model.event import Event, PointLearned, RunStarted

from .store import Store

_MOST_RUNS = 40
"""How many of the latest runs are read; older ones would add little about a model."""


def fleet_priors(store: Store, model: str, *, simulated: bool) -> dict[str, FleetPrior]:
    """The fleet prior of each adjustment point, from the latest runs on units of `model`.

    Simulated units are learned from for simulated units only, real ones for real ones only.
    """
    return priors_from_runs(_readable_runs(store), model, simulated=simulated)


def _readable_runs(store: Store) -> Iterator[Sequence[Event]]:
    """The events of each of the latest runs, without void ones.

    Damaged ones are left out, too: they must not stop a job.
    """
    void = store.voided_run_ids()
    for run_id in [one for one in store.run_ids() if one not in void][-_MOST_RUNS:]:
        with suppress(RecordError):
            yield store.events(run_id)


def priors_from_runs(
    runs: Iterable[Sequence[Event]], model: str, *, simulated: bool
) -> dict[str, FleetPrior]:
    """The fleet prior of each adjustment point, by its name.

    `runs`: the events of each run, the oldest run first.
    """
    priors: dict[str, FleetPrior] = {}
    for events in runs:
        if _is_of_model(events, model, simulated=simulated):
            for event in events:
                if isinstance(event, PointLearned):
                    before = priors.get(event.point, FleetPrior())
                    priors[event.point] = learn(before, _lesson(event))
    return priors


def _is_of_model(events: Sequence[Event], model: str, *, simulated: bool) -> bool:
    """Whether a run was on a unit of `model`, simulated or not as asked for."""
    started = next((event for event in events if isinstance(event, RunStarted)), None)
    return (
        started is not None
        and started.asset.model == model
        and (started.seed is not None) == simulated
    )


def _lesson(event: PointLearned) -> Learned:
    """Gain, lag, dead time and hunting that a run found at an adjustment point."""
    return Learned(event.gain_per_count, event.lag_s, event.dead_s, event.hunting)
