"""All published checks in one list."""

from ohmwright.published import (
    decision_rules,
    gum,
    gum_impedance,
    handbook,
    independence,
    jcgm101,
    jcgm106,
    leakage,
    nbs14,
    nist_regression,
    nist_univariate,
    reliability,
    waveforms,
)
from ohmwright.published.checks import Check

DOCUMENTS = (
    gum,
    gum_impedance,
    jcgm101,
    jcgm106,
    decision_rules,
    nist_univariate,
    nist_regression,
    handbook,
    nbs14,
    independence,
    reliability,
    waveforms,
    leakage,
)


def all_checks() -> tuple[Check, ...]:
    """Every check, grouped by document. Building the list computes nothing."""
    return tuple(check for document in DOCUMENTS for check in document.checks())
