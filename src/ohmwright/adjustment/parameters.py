"""Thresholds of the adjusting policy, in groups by what they decide, each with unit and reason.

Suffixes of names are units: `_s` seconds, `_lags` first time constants of the unit, `_sds` standard
deviations of the quantity that is compared, `_tolerances` the point's tolerance, `_relative` the
point's target. A name without one is a count, a probability or a ratio.
"""

from __future__ import annotations

from dataclasses import dataclass

from ohmwright.estimation.sequential_test import DecisionBounds


@dataclass(frozen=True)
class Probing:
    """Steps that show what a trim does whose gain is not known."""

    level_sd_tolerances: float = 0.6
    """Largest uncertainty of the output before a probe, whose effect could pass for the rise."""
    key_level_sd_tolerances: float = 1.5
    """As `level_sd_tolerances`, for keys: a person takes seconds, in which the level becomes
    known."""
    excursion_relative: float = 0.09
    """Most that a probe by remote control may move the output: the gain may be the largest."""
    key_excursion_relative: float = 0.2
    """As `excursion_relative`, for keys: larger, since each further probe costs a person's
    presses."""
    first_counts: int = 4
    """Size that a first probe grows from: a small one cannot do harm."""
    growth: int = 4
    """Largest probe over the largest so far, whose effect may not have been seen yet."""
    outward_tolerances: float = 2.0
    """Most that a probe larger than the first may bring an output out of tolerance farther out, at
    any gain still credible."""
    wait_lags: float = 1.5
    """Time from a probe to the next: the effects of two could not be told apart."""
    most: int = 6
    """Probes without effect after which the trim is said to have none."""
    least_gain_tolerances: float = 0.015
    """Largest gain per count that is no effect: the trim would need more counts than any has."""


@dataclass(frozen=True)
class Moving:
    """Moves towards the target by a gain that the readings determine."""

    decide_every_s: float = 0.2
    """Interval of decisions: what happens between two readings of the meter changes nothing."""
    gain_sds: float = 2.0
    """A gain farther from zero than this is determined: its sign is then hardly wrong."""
    seen_gain_sds: float = 5.0
    """A gain farther from zero than this is beyond doubt, and bounds all later moves."""
    largest_gain_sds: float = 3.0
    """The largest gain for which bounds must hold lies this far beyond the estimated one."""
    caution: float = 2.0
    """c in the move e g / (g² + c s²) for error e, gain g and its sd s: overshoot costs most."""
    least_error_sds: float = 1.0
    """An error smaller than its own uncertainty is not worth a move."""
    least_error_tolerances: float = 0.2
    """An error smaller than this is not worth the time of a move."""
    key_least_error_tolerances: float = 0.45
    """As `least_error_tolerances`, for keys: no presses that hardly matter."""
    key_uncorrected_tolerances: float = 0.3
    """Part of the error that fine presses leave: the last counts are the least worth pressing."""
    least_improvement_tolerances: float = 0.1
    """A move that brings the output nearer by no more than this is none: counts are whole."""
    overshoot_relative: float = 0.2
    """Most that a move may bring the output beyond the target at the largest gain."""
    growth: int = 16
    """Largest distance that moves may lead to, over the one at which the output was seen for as
    long as it rose."""
    wait_lags: float = 0.5
    """Time from a move to the next while the unit's readings do not determine its gain."""
    sure_gain_sds: float = 4.0
    """A gain farther from zero than this lets a move follow once the last begins to show."""
    patience_s: float = 1.0
    """Added to the wait after a move for each confirmation that was not as predicted: where an
    effect comes later than the rise, the gain looks small."""


@dataclass(frozen=True)
class FleetGain:
    """Moves by a gain that the unit's own readings do not determine yet.

    It is the gain that other units of the model showed, or this unit's own while it is vague.
    """

    overshoot_relative: float = 0.05
    """Most that such a move may bring the output beyond the target: the sign may be wrong."""
    move_relative: float = 0.09
    """Most that such a move may change the output at the largest gain, for the same reason."""
    excursion_relative: float = 0.28
    """Largest distance from the target to which all such moves together may bring the output."""
    worst_gain_ratio: float = 4.3
    """Worst gain assumed over the expected one, of either sign: a model's units differ by less."""
    least_error_sds: float = 2.0
    """Least error for a first such move, which may be for nothing."""
    wait_lags: float = 0.25
    """Time from such a move to the next: short, since they are small all together."""
    judge_after_lags: float = 1.0
    """Time from a move to the first judgement of the gain, which noise would overrule before."""
    contradiction_sds: float = 3.0
    """The unit's own gain overrules the fleet's if it is farther off than this."""
    contradiction_sd_ratio: float = 0.5
    """The unit's own gain overrules if its sd is below this part of the larger of both gains."""
    proof_sd_ratio: float = 0.25
    """The unit's own gain proves the fleet's if it agrees, and its sd is below this part of
    that."""
    drop_after_lags: float = 4.0
    """Time from a move after which a gain that is not proved is dropped."""
    stuck_probability: float = 0.5
    """The gain is dropped where no move is worthwhile and an output in tolerance is less
    probable."""
    stuck_again_probability: float = 0.9
    """As `stuck_probability`, from the second activation on, as releases are stricter then."""


@dataclass(frozen=True)
class PriorChecks:
    """When the readings overrule what was known before them."""

    level_sds: float = 3.0
    """The prior of the level is dropped if the level lies farther from it: something has
    changed."""
    gain_sds: float = 2.0
    """The prior of the gain is dropped if the gain lies farther from it: a wrong one makes wrong
    moves."""
    surprise_sds: float = 2.5
    """What predicted a confirmation's value is dropped if the value lies farther from the
    prediction."""
    hunting_sds: float = 3.0
    """The output may hunt if a confirmation's value lies farther from the prediction; the next one
    is watched for longer then."""
    opened_gain_sd_ratio: float = 0.3
    """Least sd of the gain, over the gain, after a confirmation that was refuted."""
    own_gain_sd_ratio: float = 0.6
    """The readings determine the gain once its sd is below this part of its prior's."""


@dataclass(frozen=True)
class Demand:
    """Least probabilities that the output is in tolerance, and in its inner band."""

    probability: float
    inner_probability: float


_USUAL, _BY_FLEET_GAIN, _NEAREST_COUNT = Demand(0.95, 0.75), Demand(0.9, 0.7), Demand(0.9, 0.0)


@dataclass(frozen=True)
class Releasing:
    """When the trim is near enough to its best place to release, rest and confirm."""

    inner_tolerances: float = 0.45
    """Half width of the inner band: an output well inside stays in tolerance longer."""
    usual: Demand = _USUAL
    """Usually: a confirmation that fails costs an activation and a rest; certainty, half a minute
    of RF."""
    by_fleet_gain: Demand = _BY_FLEET_GAIN
    """At a first release by a fleet's gain: failing costs one activation more."""
    by_hand_probability: float = 0.7
    """Presses with RF off are asked for if an output in tolerance after them is more probable:
    failing costs an activation, waiting costs RF."""
    by_hand_lags: float = 3.0
    """Time from the last presses after which more readings tell little more of the gain."""
    nearest_count: Demand = _NEAREST_COUNT
    """Where no other count would bring the output nearer: more readings would change nothing."""


_CONFIRMED = DecisionBounds(inside=0.996, outside=0.95)
_AGREES = DecisionBounds(inside=0.9, outside=0.95)


@dataclass(frozen=True)
class Confirming:
    """How long one activation is watched for a decision on its own readings."""

    bounds: DecisionBounds = _CONFIRMED
    """Accepting wrongly is worse than moving once more, hence the unequal probabilities. None of
    2,300 units that began 0.8 to 1.3 tolerances off was accepted out of tolerance by these."""
    pooled_bounds: DecisionBounds = _AGREES
    """What an activation must say by itself where it is decided together with earlier ones."""
    warmth_tolerances: float = 0.1
    """No confirmation where residual warmth leaves the value more uncertain than this."""
    hunting: float = 0.12
    """Least probability of hunting that is assumed: swings can look like scatter for a while."""
    refuting_sd_tolerances: float = 1.0
    """A value out of tolerance is refuted only if its uncertainty is less: else a move would
    miss."""
    unlikely_sds: float = 1.4
    """A value nearer to the limit than this is unlikely to be accepted soon."""
    improvement_tolerances: float = 0.2
    """Least improvement for which a move is worth one more confirmation."""
    well_landed_tolerances: float = 1.0
    """An output farther from the target than this is moved nearer where it can be, though it
    may be in tolerance (a job asks for less than one tolerance)."""
    improving_activations: int = 3
    """Number of first activations in which outputs in tolerance are improved: later, time
    counts."""
    patience: float = 1.0
    """Longest watching, over the time of another confirmation."""
    patience_in_doubt: float = 2.0
    """Patience is multiplied by this where possible hunting alone prevents acceptance."""
    least_patience_s: float = 4.0
    """Shortest patience: quick units need enough readings too."""
    centring_doubt: float = 2.0
    """A value is brought nearer to the target, however unsure it is, if it is out of tolerance with
    more than so many times the probability that is allowed."""
    narrowing: float = 0.9
    """Watching on for `least_patience_s` is in vain that leaves more of the uncertainty than
    this."""
    vain_where_it_hunts_s: float = 12.0
    """In place of `least_patience_s` where the unit hunts: some swings must pass; no source."""
    longest_patience_s: float = 40.0
    """Longest time for which an activation is watched: what is not decided by then never is."""


@dataclass(frozen=True)
class GivingUp:
    """Bounds that return the trim to its start or end the adjustment."""

    runaway_relative: float = 0.35
    """The trim returns to its start if the error of the output has grown by more than this."""
    key_runaway_relative: float = 0.55
    """As `runaway_relative`, for keys, whose probes are larger."""
    reachable_probability: float = 0.02
    """The target is out of reach if an output in tolerance is less probable at the best trim."""
    most_activations: int = 10
    """Activations after which the adjustment ends undecided."""
    most_rf_s: float = 112.0
    """RF time of all activations after which the adjustment ends undecided: nearly all that succeed
    need less than half, and it uses the duty of unit and load bank."""
    warmth_tolerances: float = 0.33
    """No confirmation is tried where residual warmth alone makes the value more uncertain than
    this."""
    least_activation_s: float = 12.0
    """Least RF time left with which an activation is begun: a shorter one could hardly decide."""
    timeout_margin_s: float = 0.5
    """Time that a release takes: RF goes off by this, one reading and the meter's window before the
    service mode times out, since a fall shows through the window."""


@dataclass(frozen=True)
class Parameters:
    """All thresholds of the policy."""

    probing: Probing = Probing()
    moving: Moving = Moving()
    fleet_gain: FleetGain = FleetGain()
    prior_checks: PriorChecks = PriorChecks()
    releasing: Releasing = Releasing()
    confirming: Confirming = Confirming()
    giving_up: GivingUp = GivingUp()
