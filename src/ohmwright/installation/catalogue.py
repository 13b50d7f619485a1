"""All checks of the installation, by subject."""

from __future__ import annotations

from . import budgets, decisions, limits, records, transients, waveforms
from .check import Check

SUBJECTS = {
    "Uncertainty budgets": budgets,
    "Decision rules": decisions,
    "Tolerances and leakage limits": limits,
    "Settled values of stored activations": transients,
    "Waveforms": waveforms,
    "Records": records,
}


def all_checks() -> dict[str, tuple[Check, ...]]:
    """Return the checks of each subject; nothing is computed yet."""
    return {subject: tuple(module.checks()) for subject, module in SUBJECTS.items()}
