"""Whether an output is near enough to the target to release, rest and confirm."""

from __future__ import annotations

from ohmwright.estimation.mixture import Mixture

from .parameters import Demand


def meets_release_criterion(
    output: Mixture, tolerance: float, inner: float, demand: Demand
) -> bool:
    """Whether an output is probably in tolerance, and probably well inside, as `demand` asks.

    `output`, `tolerance` and `inner`, the half width of the inner band, relative to the target.
    """
    return (
        output.probability_between(1 - tolerance, 1 + tolerance) >= demand.probability
        and output.probability_between(1 - inner, 1 + inner) >= demand.inner_probability
    )
