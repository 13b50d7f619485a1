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
    """No probe before the output is known so well: its effect could not be told from the rise."""
    key_level_sd_tolerances: float = 1.5
    """The limit for keys: a person takes seconds to press, in which the level becomes known."""
    excursion_relative: float = 0.09
    """Most that a probe by remote control may move the output: the gain may be the largest."""
    key_excursion_relative: float = 0.2
    """The limit for keys: larger, since each further probe costs a person's presses."""
    first_counts: int = 4
    """Size that a first probe grows from: a small one cannot do harm."""
    growth: int = 4
    """A probe is at most so many times the largest so far: the last may not have been seen yet."""
    wait_lags: float = 1.5
    """Time for a probe to show before the next: two at once could not be told apart."""
    most: int = 6
    """After so many probes without effect the trim is said to have none."""
    least_gain_tolerances: float = 0.015
    """A gain per count that cannot be larger than this is no effect: no trim has so many counts."""


@dataclass(frozen=True)
class Moving:
    """Moves towards the target by a gain that the readings determine."""

    decide_every_s: float = 0.2
    """Interval of decisions: what happens between two readings of the meter changes nothing."""
    gain_sds: float = 2.0
    """A gain so far from zero is determined: its sign is then hardly wrong."""
    seen_gain_sds: float = 5.0
    """A gain so far from zero is one that the trim has had, whatever is seen of it later."""
    largest_gain_sds: float = 3.0
    """The gain may be larger than estimated by so much: bounds hold for that one too."""
    caution: float = 2.0
    """c in the move e g / (g² + c s²) for error e, gain g and its sd s: overshoot costs most."""
    least_error_sds: float = 1.0
    """An error smaller than its own uncertainty is not worth a move."""
    least_error_tolerances: float = 0.2
    """An error under this is good enough: a move would cost more time than it gains room."""
    key_least_error_tolerances: float = 0.45
    """The limit for keys: a person is not asked for presses that hardly matter."""
    key_uncorrected_tolerances: float = 0.3
    """Part of the error that fine presses leave: the last counts are the least worth pressing."""
    least_improvement_tolerances: float = 0.1
    """A move that brings the output nearer by no more than this is none: counts are whole."""
    overshoot_relative: float = 0.2
    """Most that a move may bring the output beyond the target at the largest gain."""
    wait_lags: float = 0.5
    """Time from a move to the next while the unit's readings do not determine its gain."""
    sure_gain_sds: float = 4.0
    """A gain so far from zero lets the next move follow as soon as the last begins to show."""
    patience_s: float = 1.0
    """Each time a confirmation differs from what was expected, moves are waited for this longer:
    their effect may come later than the rise, and then the gain looks small."""


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
    """All such moves together keep the output so near the target even at the worst gain."""
    worst_gain_ratio: float = 4.3
    """The worst gain over the expected one, of either sign: a model's units differ by less."""
    least_error_sds: float = 2.0
    """A first such move needs an error so clear: it may be for nothing."""
    wait_lags: float = 0.25
    """Time from such a move to the next: short, since they are small all together."""
    judge_after_lags: float = 1.0
    """No judgement of the gain before a move had so long to show: noise would overrule it."""
    contradiction_sds: float = 3.0
    """The unit's own gain so far off overrules the fleet's."""
    contradiction_sd_ratio: float = 0.5
    """To overrule, the own gain's sd must be below this part of the larger of both gains."""
    proof_sd_ratio: float = 0.25
    """An own gain that agrees, with an sd below this part of the fleet's gain, proves it."""
    drop_after_lags: float = 4.0
    """A gain that a move given so long has not proved is given up."""
    stuck_probability: float = 0.5
    """With less probability in tolerance and no worthwhile move the gain is given up."""
    stuck_again_probability: float = 0.9
    """The bound from the second activation on, as releases are stricter from then on."""


@dataclass(frozen=True)
class PriorChecks:
    """When the readings overrule what was known before them."""

    level_sds: float = 3.0
    """A level so far from its prior: something else changed, the prior of the level is dropped."""
    gain_sds: float = 2.0
    """A gain so far from its prior: earlier, since a wrong gain makes wrong moves."""
    surprise_sds: float = 2.5
    """A confirmation's value so far from what was foretold of it: what foretold it is forgotten."""
    hunting_sds: float = 3.0
    """So far from it, and the output may have swung: the next one is watched for longer."""
    opened_gain_sd_ratio: float = 0.3
    """After a confirmation was refuted the gain is no surer than that part of it."""
    own_gain_sd_ratio: float = 0.6
    """The readings determine the gain once they narrow its prior to that part."""


@dataclass(frozen=True)
class Demand:
    """Least probabilities that the output is in tolerance, and in its inner band."""

    probability: float
    inner_probability: float


_USUAL, _BY_FLEET_GAIN, _NEAREST_COUNT = Demand(0.95, 0.75), Demand(0.9, 0.7), Demand(0.9, 0.0)


@dataclass(frozen=True)
class Releasing:
    """When the trim stands well enough to release, rest and confirm."""

    inner_tolerances: float = 0.45
    """Half width of the inner band: a trim well inside stays in tolerance longer."""
    usual: Demand = _USUAL
    """A confirmation that fails costs an activation and a rest, certainty half a minute of RF."""
    by_fleet_gain: Demand = _BY_FLEET_GAIN
    """At a first release by a fleet's gain: failing costs one activation more."""
    by_hand_probability: float = 0.7
    """Presses with RF off need so much: failing costs an activation, waiting costs RF, too."""
    by_hand_lags: float = 3.0
    """After so many lags since the last presses, more readings tell little more of the gain."""
    nearest_count: Demand = _NEAREST_COUNT
    """Where no count would bring the output nearer: more readings tell nothing that can be done."""


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
    """A value that is out of tolerance and no better known is watched: a move by it would miss."""
    unlikely_sds: float = 1.4
    """A value nearer to the limit than this is unlikely to be accepted soon."""
    improvement_tolerances: float = 0.2
    """A move must bring the output nearer by more than this to be worth a confirmation more."""
    well_landed_tolerances: float = 1.0
    """An output farther from the target than this is moved nearer where it can be, though it
    may be in tolerance (a job asks for less than one tolerance)."""
    improving_activations: int = 3
    """Outputs in tolerance are improved in the first activations only: time is worth more then."""
    patience: float = 1.0
    """Watching may last so many times what another confirmation would take."""
    patience_in_doubt: float = 2.0
    """Patience is multiplied by this where only the thought of hunting prevents acceptance."""
    least_patience_s: float = 4.0
    """Shortest patience: quick units also need readings enough."""
    longest_patience_s: float = 40.0
    """No activation is watched longer: what is not decided then never is."""


@dataclass(frozen=True)
class GivingUp:
    """Bounds that return the trim to its start or end the adjustment."""

    runaway_relative: float = 0.35
    """Output so much farther from the target than at the start: back to the start."""
    key_runaway_relative: float = 0.55
    """The bound for keys, whose probes are larger."""
    reachable_probability: float = 0.02
    """With less probability in tolerance at the best trim, no count reaches the target."""
    most_activations: int = 10
    """The adjustment ends undecided after so many."""
    most_rf_s: float = 112.0
    """The adjustment ends undecided after so much time with RF on, all activations together:
    nearly all that succeed need less than half, and a unit's and load bank's duty is not free."""
    warmth_tolerances: float = 0.33
    """Where the warmth left over leaves the value so uncertain, the surest reading is no help."""
    least_activation_s: float = 12.0
    """No activation is begun with less of that time left: it could hardly decide anything."""
    timeout_margin_s: float = 0.5
    """An activation is left so long, one reading and the meter's window before the service mode
    times out: a release takes time, and a fall shows through the window."""


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
