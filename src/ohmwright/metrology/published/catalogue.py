"""All published checks in one list."""

from ohmwright.metrology.published import independence, nist_univariate, waveforms
from ohmwright.metrology.published.checks import Check

DOCUMENTS = (nist_univariate, independence, waveforms)


def all_checks() -> tuple[Check, ...]:
    """Every check, grouped by document. Building the list computes nothing."""
    return tuple(check for document in DOCUMENTS for check in document.checks())
