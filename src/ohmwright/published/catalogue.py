"""All published checks in one list."""

from ohmwright.published import (
    decision_rules,
    gum,
    gum_impedance,
    handbook,
    independence,
    jcgm101,
    jcgm106,
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
    independence,
    reliability,
    waveforms,
)


def all_checks() -> tuple[Check, ...]:
    """Every check, grouped by document. Building the list computes nothing."""
    return tuple(check for document in DOCUMENTS for check in document.checks())
