"""The situations of the adjusting benchmark, each a change of the nominal population."""

from __future__ import annotations

from dataclasses import dataclass, replace

from ohmwright.adjustment.point import Keys
from scripts.bench.population import Profile


@dataclass(frozen=True)
class Scenario:
    """A population and the way its trims are moved; `share` of the units asked for."""

    name: str
    profile: Profile
    keys: Keys | None = None
    share: float = 1.0


def scenarios(nominal: Profile) -> list[Scenario]:
    """Every situation that a row of the table needs."""

    def changed(**changes: object) -> Profile:
        return replace(nominal, **changes)  # type: ignore[arg-type]

    return [
        Scenario("nominal", nominal),
        Scenario("near the limit", changed(start_in_tolerances=(0.8, 1.3))),
        Scenario("keys", nominal, Keys()),
        Scenario("dead trim", changed(dead_trim=True, least_start_tolerances=1.2), share=0.5),
        Scenario("hunting 1 %", changed(hunting_share=1.0, hunting=0.01)),
        Scenario("second pole", changed(second_pole=(0.5, 1.0))),
        Scenario("big gain", changed(gain_ma=(8.0, 20.0)), share=0.5),
        Scenario("spikes", changed(spike_share=0.02), share=0.25),
    ]
