"""Which files changes are drawn from, and which numbers in them are not."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from .sites import Change, changes

_SOURCE = "src/ohmwright"
TARGETS = {
    "budget": (
        "uncertainty/budget.py",
        "uncertainty/inputs.py",
        "uncertainty/hf_effects.py",
        "engine/influences.py",
        "engine/measured_value.py",
        "engine/difference.py",
    ),
    "crest factor": ("engine/crest_factor_value.py",),
    "judge": (
        "engine/judge.py",
        "uncertainty/conformity.py",
        "uncertainty/global_risk_rules.py",
        "uncertainty/risk.py",
    ),
    "tolerance": ("model/tolerance.py",),
    "settling": (
        "estimation/settled_value.py",
        "estimation/departures.py",
        "estimation/two_states.py",
    ),
    "estimator": (
        "estimation/transient_estimate.py",
        "estimation/first_guess.py",
        "estimation/transient_fit.py",
        "estimation/transient_problem.py",
        "estimation/ar1_regression.py",
        "estimation/prior.py",
        "estimation/coefficients.py",
        "estimation/sequential_test.py",
        "estimation/thermal_droop.py",
        "estimation/mixture.py",
    ),
    "stop rules": (
        "engine/asked_current.py",
        "engine/stop_rules.py",
    ),
    "leakage limit": ("engine/steps/leakage.py",),
    "record": ("engine/recomputed_values.py",),
}
"""Files that make a budget, a verdict, a tolerance, a settled value, an estimate, a limit, or that
end an activation, or hold a record's values against its readings.
"""

NOT_DRAWN = (
    ("uncertainty/budget.py", "STEPS_PER_U = ", "step of a numerical derivative"),
    ("uncertainty/inputs.py", "< -1e-9", "rounding of an eigenvalue"),
    ("uncertainty/conformity.py", "1.0 - 1e-12", "rounding of a division"),
    ("uncertainty/risk.py", "REACH = ", "tails left out are 3e-14"),
    ("uncertainty/risk.py", "> 1e-12", "when a bisection ends"),
    ("uncertainty/risk.py", "middle = 0.5", "where a bisection cuts"),
    ("estimation/transient_problem.py", "+ 1e-10", "keeps a variance above zero"),
    ("estimation/transient_fit.py", "+ 1e-3", "keeps a deviation above zero"),
    ("estimation/transient_fit.py", "largest_change < _SMALL and", "when an iteration ends"),
    ("estimation/transient_fit.py", "moved = max(", "when an iteration ends"),
    ("estimation/transient_fit.py", "_LARGEST_STEP = ", "longest step of an iteration"),
    ("estimation/first_guess.py", "np.linspace(-2, 1.5", "coarse grid of a first guess"),
    ("estimation/first_guess.py", "move_delay), 0.5, variance)", "first guess"),
    ("estimation/first_guess.py", "return FitStart(dynamics[best]", "first guess"),
    ("estimation/ar1_regression.py", "+ 1e-9", "keeps a deviation above zero"),
    ("estimation/sequential_test.py", "return min(0.8, 0.7", "how soon it looks again"),
    ("estimation/thermal_droop.py", "_STEP_S = ", "how finely a rest is searched for"),
    ("estimation/prior.py", "max(sd, 1e-7)", "keeps a deviation above zero"),
    ("estimation/two_states.py", "low, top = quantile(", "where an iteration begins"),
    ("estimation/two_states.py", "max(window_s, 1e-3)", "keeps a window above zero"),
    ("engine/stop_rules.py", "_TEST_EVERY_S = ", "how soon it looks again"),
    ("engine/stop_rules.py", "_TEST_AT_LAST_S = ", "how soon it looks again"),
    ("engine/stop_rules.py", "_DECISIVE_SDS = ", "how soon it looks again"),
    ("engine/stop_rules.py", "_NARROWING = ", "how soon it looks again"),
    ("engine/stop_rules.py", "max(wanted, 1e-9)", "how soon it looks again"),
    ("estimation/mixture.py", "_NEGLIGIBLE = ", "members and parts left out weigh 1e-7"),
)
"""Numbers by file and text of their line, and why no result is wrong with others.

They bound rounding, or tune how soon and how finely something is sought. Operators and functions on
these lines are drawn as any other.
"""


def drawable(root: Path) -> dict[str, list[Change]]:
    """The changes that can be drawn from each target."""
    return {
        name: [change for path in paths for change in _of_file(root, path)]
        for name, paths in TARGETS.items()
    }


def _of_file(root: Path, path: str) -> Iterator[Change]:
    lines = (root / _SOURCE / path).read_text("utf-8").splitlines()
    left_out = [text for file, text, _ in NOT_DRAWN if file == path]
    for change in changes(root, f"{_SOURCE}/{path}"):
        is_number = change.before[0].isdigit()
        if not (is_number and any(text in lines[change.line] for text in left_out)):
            yield change
