"""How long RF may be on: in one activation, and for a point altogether."""

from __future__ import annotations

from .parameters import GivingUp


class RfBudget:
    """RF time that one point has had and may still have.

    `timeout_s`: longest activation of the service mode; `activations`: those so far; `times_out_s`:
    the earliest age at which the service mode has ended by itself, or `timeout_s`.
    """

    def __init__(self, giving_up: GivingUp, timeout_s: float) -> None:
        self._giving_up, self._timeout_s = giving_up, timeout_s
        self.activations = 0
        self.spent_s = 0.0
        self.times_out_s = timeout_s
        self.time_outs = 0
        self._is_last = False

    def note_last_activation(self) -> None:
        """Let the present activation be the last, and short: it shows the place and no more."""
        self._is_last = True

    def note_activation(self, on_s: float, latest_s: float, *, timed_out: bool) -> None:
        """Count an activation of `on_s`; `timed_out`: it ended by itself, after `latest_s`."""
        self.spent_s += on_s
        if timed_out:
            self.time_outs += 1
            self.times_out_s = min(self.times_out_s, latest_s)

    def must_end(self, age_s: float, margin_s: float, *, confirming: bool) -> bool:
        """Whether the present activation must end now, at `age_s`, a margin before it times out.

        One that confirms is watched for as long as the service mode is said to last.
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
