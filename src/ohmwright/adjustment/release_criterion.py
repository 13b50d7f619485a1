"""Whether a trim stands well enough to release, rest and confirm."""

from __future__ import annotations

from ohmwright.estimation.mixture import Mixture

from .parameters import Releasing


def meets_release_criterion(
    output: Mixture, tolerance: float, releasing: Releasing, *, lenient: bool = False
) -> bool:
    """Whether an output is probably in tolerance, and probably well inside.

    `output` and `tolerance` relative to the target; `lenient`: with the lower probabilities.
    """
    inner = releasing.inner_tolerances * tolerance
    least, least_inner = (
        (releasing.lenient_probability, releasing.lenient_inner_probability)
        if lenient
        else (releasing.probability, releasing.inner_probability)
    )
    return (
        output.probability_between(1 - tolerance, 1 + tolerance) >= least
        and output.probability_between(1 - inner, 1 + inner) >= least_inner
    )
