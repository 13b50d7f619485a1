"""Changes that the tests once let pass, each by what it would do to a result."""

from __future__ import annotations

from pathlib import Path

from .sites import Change

_SOURCE = "src/ohmwright"
NAMED: dict[str, tuple[str, str, str]] = {
    "global risk with k of 2": (
        "uncertainty/global_risk_rules.py",
        "factor = measured.coverage_factor",
        "factor = 2.0",
    ),
    "linear budget valid by its better end": (
        "uncertainty/budget.py",
        "max(low, high) <= delta",
        "min(low, high) <= delta",
    ),
    "lasting uncertainty with type A": (
        "engine/judge.py",
        "measured.uncertainty**2 - _readings_uncertainty(measured)[0] ** 2",
        "measured.uncertainty**2",
    ),
    "accepted half width to the farther side": (
        "engine/judge.py",
        "min(accepted.upper",
        "max(accepted.upper",
    ),
    "contact threshold with half the step as u": (
        "engine/steps/contact_quality.py",
        "threshold.below_ohm) / 2",
        "threshold.below_ohm) * 0.866",
    ),
    "crest factor with the scatter of one capture": (
        "uncertainty/inputs.py",
        "/ (count * dof)",
        "/ dof",
    ),
    "left-over heat, droop known, with its bound as u": (
        "estimation/thermal_droop.py",
        "worst / np.sqrt(3)",
        "worst",
    ),
    "left-over heat, droop not known, with its bound as u": (
        "estimation/thermal_droop.py",
        "max(corrected, most - corrected) / np.sqrt(3)",
        "max(corrected, most - corrected)",
    ),
    "posterior without the prior's degrees of freedom": (
        "estimation/ar1_regression.py",
        "dof = noise.dof + count",
        "dof = 0.0 + count",
    ),
    "extrapolation as little as a tenth of it": (
        "estimation/transient_estimate.py",
        "_UNSEEN = 0.08",
        "_UNSEEN = 0.008",
    ),
    "pooled extrapolation as if it were independent": (
        "estimation/settled_value.py",
        "common = float(np.dot(shares, (first.extrapolation, second.extrapolation)))",
        "common = hypot(*np.multiply(shares, (first.extrapolation, second.extrapolation)))",
    ),
    "settled value without the model's part": (
        "estimation/settled_value.py",
        "_MODEL = 0.0005",
        "_MODEL = 0.0",
    ),
    "decided value without the model's part": (
        "estimation/sequential_test.py",
        "_MODEL = 0.03",
        "_MODEL = 0.0",
    ),
    "droop at the end of the meter's window": (
        "estimation/coefficients.py",
        "age_s - 0.5 * window_s",
        "age_s",
    ),
}
"""File, what stands there once, and what takes its place."""


def named_changes(root: Path) -> dict[str, Change]:
    """The changes by name. Raises ValueError for one that no longer fits the source."""
    return {name: _change(root, name, *entry) for name, entry in NAMED.items()}


def _change(root: Path, name: str, file: str, before: str, after: str) -> Change:
    path = f"{_SOURCE}/{file}"
    text = (root / path).read_text("utf-8")
    if text.count(before) != 1:
        raise ValueError(f"{name}: {path} has {text.count(before)} times {before!r}, not once")
    begin = text.index(before)
    line = text.count("\n", 0, begin)
    return Change(path, line, begin - (text.rfind("\n", 0, begin) + 1), before, after)
