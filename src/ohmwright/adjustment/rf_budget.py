"""How long RF may be on: in one activation, and for a point altogether."""

from __future__ import annotations

from .parameters import GivingUp


class RfBudget:
    """RF time that one point has had and may still have.

    `timeout_s`: after which the service mode is said to end by itself; `activations`: begun so far;
    `times_out_s`: the age at the last reading of the shortest activation that it has ended, else
    `timeout_s`.
    """

    def __init__(self, giving_up: GivingUp, timeout_s: float) -> None:
        self._giving_up, self._timeout_s = giving_up, timeout_s
        self.activations = 0
        self.spent_s = 0.0
        self.times_out_s = timeout_s
        self.time_outs = 0
        self._is_last = False

    def note_last_activation(self) -> None:
        """Let the present activation be the last, and short: it confirms nothing."""
        self._is_last = True

    def note_begun(self) -> None:
        """Count an activation that begins."""
        self.activations += 1

    def note_ended(self, on_s: float, last_reading_s: float, *, timed_out: bool) -> None:
        """Count the RF time `on_s` of an activation; `timed_out`: the service mode ended it."""
        self.spent_s += on_s
        if timed_out:
            self.time_outs += 1
            self.times_out_s = min(self.times_out_s, last_reading_s)

    def must_end(self, age_s: float, margin_s: float, *, confirming: bool) -> bool:
        """Whether the present activation must end now, at `age_s`, a margin before it times out.

        One that confirms is watched for as long as the service mode is said to last, though it has
        ended sooner before: that may have had another cause, and to let go of a confirmation
        undecided costs as much as to lose it. A trim that is being moved is left in time instead.
        """
        longest_s = self._timeout_s if confirming else self.times_out_s
        late = age_s > longest_s - margin_s
        late = late or (self._is_last and age_s > self._giving_up.least_activation_s)
        return late or self.spent_s + age_s > self._giving_up.most_rf_s

    @property
    def exhausted(self) -> bool:
        """Whether another activation is not worth its beginning, or not allowed."""
        if self._is_last:
            return True
        left_s = self._giving_up.most_rf_s - self.spent_s
        too_many = self.activations >= self._giving_up.most_activations
        return too_many or left_s < self._giving_up.least_activation_s
