"""ILAC-G8:09/2019 and ANSI/NCSL Z540.3, with the papers that work out its 2 % rule."""

from collections.abc import Iterator
from functools import partial

import numpy as np

from ohmwright.published.checks import Check, Source, Status
from ohmwright.uncertainty import risk
from ohmwright.uncertainty.conformity import worst_case_specific_risk

# multiple of U, coverage factor, worst case specific risk, as printed or derived
GUARD_BANDS: tuple[tuple[float, float, float, float, Status], ...] = (
    (0.0, 2.0, 0.50, 1e-12, "published"),
    (1.0, 1.959963985, 0.025, 1e-9, "published"),
    (1.0, 2.0, 0.0227501319, 1e-10, "reference"),
    (1.5, 2.0, 0.0013498980, 1e-10, "reference"),
    (3.0, 2.0, 9.866e-10, 1e-13, "reference"),
    (0.83, 2.0, 0.0484572, 1e-7, "reference"),
    (0.8224268, 2.0, 0.05, 1e-7, "reference"),
)

# share in tolerance, ratio: false accept and false reject in % for k = 2, then for k = 1.95996
FALSE_DECISIONS = (
    (0.95, 1.0, 1.80116, 12.95716, 1.81287, 13.39050),
    (0.95, 1.5, 1.54116, 6.62455, 1.55507, 6.84856),
    (0.95, 2.0, 1.33734, 4.17753, 1.35190, 4.31133),
    (0.95, 3.0, 1.04851, 2.29360, 1.06251, 2.35977),
    (0.95, 4.0, 0.858266, 1.553651, 0.871010, 1.595390),
    (0.90, 4.0, 1.37410, 2.08878, 1.39639, 2.14045),
    (0.89, 4.0, 1.45565, 2.16185, 1.47955, 2.21475),
    (0.80, 2.0, 3.45796, 5.68765, 3.51017, 5.82856),
    (0.80, 4.0, 1.96900, 2.54116, 2.00385, 2.59941),
)

# share in tolerance: unconditional and conditional false accept in %, spreads in ratio 4
RP19 = {
    0.60: (4.838603, 8.260082),
    0.70: (3.922341, 5.723220),
    0.80: (2.855831, 3.632271),
    0.90: (1.599953, 1.798804),
    0.95: (0.871009, 0.923897),
    0.99: (0.199917, 0.202438),
}

# ratio: root difference of squares, 1 - 1/TUR, Dobbert
MULTIPLIERS = {2.0: (0.8660254, 0.5, 0.8591773), 4.0: (0.9682458, 0.75, 0.9867197)}

# share in tolerance, ratio: acceptance multiplier that leaves 2 % false accepts
TWO_PERCENT = (
    (0.80, 2.0, 0.8944153),
    (0.90, 1.0, 0.7923970),
    (0.90, 2.0, 0.9731532),
    (0.85, 1.5, 0.8474773),
)


def checks() -> Iterator[Check]:
    """Every check of the decision rules."""
    for multiple, factor, expected, tolerance, status in GUARD_BANDS:
        yield Check(
            source="ILAC-G8:09/2019",
            clause="4.2 guard band w = multiple of U",
            what=f"worst specific risk, w = {multiple:g} U, k = {factor:.6g}",
            expected=expected,
            tolerance=tolerance,
            compute=partial(worst_case_specific_risk, multiple, factor),
            status=status,
        )
    yield from _false_decisions()
    yield from _rp19()
    yield from _deaver()
    yield from _rules_of_thumb()
    yield from _multipliers()


_z540 = Source("ANSI/NCSL Z540.3", "reference")


def _false_decisions() -> Iterator[Check]:
    for share, ratio, *percents in FALSE_DECISIONS:
        for factor, accept, reject in ((2.0, *percents[:2]), (1.959963985, *percents[2:])):
            case = f"{100 * share:g} % in tolerance, {ratio:g}:1, k = {factor:.6g}"
            arguments = (share, ratio, 1.0, factor)
            yield _z540(
                "5.3 b false accept",
                f"%, {case}",
                accept,
                6e-6,
                partial(_false_accept_percent, *arguments),
            )
            yield _z540(
                "5.3 b false reject",
                f"%, {case}",
                reject,
                6e-6,
                partial(_false_reject_percent, *arguments),
            )


def _false_accept_percent(share: float, ratio: float, multiplier: float, factor: float) -> float:
    return 100.0 * float(risk.centred_risks(share, ratio, multiplier, factor).false_accept)


def _false_reject_percent(share: float, ratio: float, multiplier: float, factor: float) -> float:
    return 100.0 * float(risk.centred_risks(share, ratio, multiplier, factor).false_reject)


def _rp19() -> Iterator[Check]:
    for share, (unconditional, conditional) in RP19.items():
        case = f"%, {100 * share:g} % in tolerance"
        yield Check(
            "NCSLI RP-19 (draft)",
            "false accept, spreads 4:1",
            f"unconditional {case}",
            unconditional,
            1e-5,
            partial(_rp19_unconditional, share),
            "published",
        )
        yield Check(
            "NCSLI RP-19 (draft)",
            "false accept, spreads 4:1",
            f"conditional {case}",
            conditional,
            1e-5,
            partial(_rp19_conditional, share),
            "published",
        )


def _rp19_risks(share: float) -> risk.Risks:
    spread = risk.population_sd(1.0, share)
    return risk.global_risks(-1.0, 1.0, -1.0, 1.0, 0.0, spread, spread / 4.0)


def _rp19_unconditional(share: float) -> float:
    return 100.0 * float(_rp19_risks(share).false_accept)


def _rp19_conditional(share: float) -> float:
    return 100.0 * float(_rp19_risks(share).conditional_false_accept)


def _deaver() -> Iterator[Check]:
    # limit in population spreads, spread over uncertainty, acceptance multiplier
    for limit, ratio, multiplier, accept, reject, status in (
        (2.0, 4.0, 1.0, 0.0080061, 0.0148509, "reference"),
        (2.5, 4.0, 1.0, 0.0024453, None, "reference"),
        (2.0, 2.0, 0.91, 0.008, 0.066, "published"),
    ):
        case = f"limit {limit:g} sigma, ratio {ratio:g}, acceptance {multiplier:g}"
        tolerance = 5e-4 if status == "published" else 6e-8
        arguments = (limit, ratio, multiplier)
        for what, expected, compute in (
            ("false accept", accept, partial(_deaver_accept, *arguments)),
            ("false reject", reject, partial(_deaver_reject, *arguments)),
        ):
            if expected is not None:
                yield Check(
                    "Deaver 1993 to 1995",
                    "risk curves",
                    f"{what}, {case}",
                    expected,
                    tolerance,
                    compute,
                    "published" if status == "published" else "reference",
                )


def _deaver_risks(limit: float, ratio: float, multiplier: float) -> risk.Risks:
    accepted = multiplier * limit
    return risk.global_risks(-limit, limit, -accepted, accepted, 0.0, 1.0, 1.0 / ratio)


def _deaver_accept(limit: float, ratio: float, multiplier: float) -> float:
    return float(_deaver_risks(limit, ratio, multiplier).false_accept)


def _deaver_reject(limit: float, ratio: float, multiplier: float) -> float:
    return float(_deaver_risks(limit, ratio, multiplier).false_reject)


def _rules_of_thumb() -> Iterator[Check]:
    clause = "2 % whatever the other figure"
    yield _z540(clause, "largest false accept at 4.6:1, %", 1.9648, 6e-5, partial(_worst, 4.6))
    yield _z540(clause, "largest false accept at 4:1, %", 2.2382, 6e-5, partial(_worst, 4.0))
    yield _z540(
        clause,
        "largest false accept at 89 % observed in tolerance, %",
        1.9515,
        6e-5,
        partial(_worst_observed, 0.89),
    )
    yield _z540(
        clause,
        "largest false accept at 88 % observed in tolerance, %",
        2.1403,
        2e-4,
        partial(_worst_observed, 0.88),
    )


def _worst(ratio: float) -> float:
    shares = np.linspace(0.3, 0.99, 2761)
    return 100.0 * float(risk.centred_risks(shares, ratio).false_accept.max())


def _worst_observed(observed: float) -> float:
    # What is observed has both spreads in it.
    spread = float(risk.population_sd(1.0, observed))
    error = 1.0 / (2.0 * np.linspace(0.85, 20.0, 4001))
    error = error[error < spread]
    prior = np.sqrt(spread**2 - error**2)
    risks = risk.global_risks(-1.0, 1.0, -1.0, 1.0, 0.0, prior, error)
    return 100.0 * float(risks.false_accept.max())


def _multipliers() -> Iterator[Check]:
    for ratio, (root, linear, dobbert) in MULTIPLIERS.items():
        for name, expected, rule, status in (
            ("root difference of squares", root, risk.root_difference_multiplier, "reference"),
            ("1 - 1/TUR", linear, risk.linear_multiplier, "reference"),
            ("Dobbert", dobbert, risk.dobbert_multiplier, "from memory"),
        ):
            yield _z540(
                "guard bands",
                f"{name}, {ratio:g}:1",
                expected,
                6e-8,
                partial(rule, ratio),
                "from memory" if status == "from memory" else "reference",
            )
    for share, ratio, expected in TWO_PERCENT:
        yield _z540(
            "guard bands",
            f"multiplier for 2 %, {100 * share:g} % in tolerance, {ratio:g}:1",
            expected,
            6e-8,
            partial(risk.acceptance_multiplier, share, ratio),
        )
