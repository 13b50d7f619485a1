"""Thresholds of the adjusting policy."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Parameters:
    """Thresholds of the policy; lengths in tolerances unless said otherwise."""

    think_every_s: float = 0.2
    probe_level_sd: float = 0.6
    probe_excursion: float = 0.09
    """Part of the target that a probe may move the output by."""
    key_probe_excursion: float = 0.2
    key_good: float = 0.45
    key_spared: float = 0.3
    excursion_cap: float = 0.2
    """How far beyond the target, relative, a move may bring the output at the largest gain."""
    unseen_spare: float = 0.05
    """The same for a move that rests only on what other units of the model did."""
    unseen_move: float = 0.09
    """The most, relative to the target, that such a move may do at the largest gain."""
    unseen_excursion: float = 0.28
    unseen_factor: float = 4.3
    """All such moves together: within that excursion even if the gain has so many times the size
    believed, and the other sign."""
    unseen_lags: float = 0.5
    """How many lags a move by a gain still vague is given to be seen before the next."""
    borrowed_lags: float = 0.25
    """The same where others of the model told the gain: such moves are small all together."""
    judged_lags: float = 1.0
    """How many lags it is given before the readings may overrule or prove the belief."""
    unseen_worth: float = 2.0
    """Such a move must be worth so many standard deviations of what it corrects."""
    stuck: float = 0.5
    stuck_again: float = 0.9
    """With less probability in tolerance, and no move worth it, such a gain is believed no more."""
    contradiction: float = 3.0
    """So many standard deviations off, the unit's own readings overrule what others did."""
    contradiction_sd: float = 0.5
    """Their own gain must be known to that part of it, or of what is believed, to do so."""
    proof: float = 0.25
    """Known to that part of what is believed and no contradiction, it proves the belief."""
    proof_lags: float = 4.0
    """A belief that a move given so many lags has not proved is dropped."""
    own_gain: float = 0.6
    """The unit's own readings tell its gain once they leave so much of what was believed."""
    runaway: float = 0.35
    """Output so much farther from the target, relative, than at the start: back to the start."""
    key_runaway: float = 0.55
    most_probes: int = 6
    first_probe: int = 4
    probe_growth: int = 5
    """A probe is at most so many times as large as what was tried before."""
    gain_doubt: float = 3.0
    """The gain may be so many standard deviations larger than it seems."""
    probe_lags: float = 1.5
    """How many lags a probe is given to be seen before the next."""
    least_gain: float = 0.015
    gain_seen: float = 2.0
    surprise: float = 2.0
    level_surprise: float = 3.0
    caution: float = 2.0
    worth: float = 1.0
    """A move must be worth so many standard deviations of what it corrects."""
    good: float = 0.2
    """An error under this is not corrected."""
    release: float = 0.98
    inner: float = 0.5
    release_inner: float = 0.85
    eager_release: float = 0.9
    eager_inner: float = 0.7
    """The same two for the first release where others of the model told the gain."""
    out_of_reach: float = 0.02
    """No count lands if so little probability is in tolerance where the trim stands best."""
    hopeless: float = 1.4
    well_landed: float = 1.0
    """A landing farther off than this is improved where it can be, though it is in tolerance."""
    choosy_activations: int = 3
    """No longer after so many activations."""
    patience: float = 1.0
    patience_in_doubt: float = 2.0
    """So many times as long where a confirmation hangs on the thought of hunting alone."""
    least_patience_s: float = 4.0
    warm: float = 0.1
    """Warmth left over that leaves the value more unsure than this: no confirmation."""
    longest_patience_s: float = 40.0
    most_activations: int = 10
    margin_s: float = 1.0
    hunting: float = 0.9
    """Share of units that are thought to hunt until readings say otherwise."""
