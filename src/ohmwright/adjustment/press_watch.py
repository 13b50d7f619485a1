"""Watches the readings for presses that were asked for, and says when they have shown."""

from __future__ import annotations

from contextlib import suppress

import numpy as np

from ohmwright.estimation.activation_record import ActivationRecord, FitStart
from ohmwright.estimation.prior import TransientPrior

from .press_evidence import LEAST_REACTION_S
from .press_seen import MAY_BE_NOTHING, SURE, PressesSeen, presses_seen
from .press_weighing import PredictedOutput, PressRequest, PressWeighing

_LONGEST_PRESS_S = 0.9
"""Longest time from one press to the next."""
_SHOWN_WINDOWS, _SHOWN_LAGS = 0.6, 0.5
"""A press counts as shown so many windows of the meter and lags after the unit's dead time."""
_LONGEST_REACTION_S = 5.0
"""Longest time from a cue to the first press."""
_BOUNCE_S = 0.4
"""Time within which a bouncing key is down again; waited for where the gain is not known, since
readings can tell nothing else then."""
_RISEN_LAGS = 2.5
"""Further time, in lags, after which a new activation shows its level."""
_LOOK_S, _LOOK_AGAIN_S = 0.4, 1.0
"""Interval of looking, with presses awaited and for those that were made before RF came on."""
_NOTHING, _NOTHING_YET = 0.02, 0.005
"""Probability of nothing at all that makes it unlikely, with a gain that is known and not: a rise
that goes on is easily taken for the effect of a gain that may be any."""
_UNLIKELY, _LONGER_S = 0.3, 4.0
"""While nothing at all is not likelier than this, further readings are taken for so long after a
person should have pressed: if there was a press, they soon show it."""
_BEGUN_LATE_S = 2.0
"""Time after the longest reaction at which the most probable presses are taken, sure or not."""
_LATEST_S = 3.0
"""Time after the last press has shown at which the most probable presses are taken, sure or not."""


class PressWatch:
    """Watches the readings for the presses of `request`.

    `prior`: of the coefficients before the presses.
    """

    def __init__(self, request: PressRequest, prior: TransientPrior) -> None:
        self.asked, self.cue_s = request.asked, request.cue_s
        self._weighed = PressWeighing(request, prior)
        self._looked_s = -1.0

    @property
    def gain_known(self) -> bool:
        """Whether it is known what the presses asked for do."""
        return self._weighed.gain_known

    def read(
        self, record: ActivationRecord, start: FitStart, correlation: float
    ) -> PressesSeen | None:
        """Return what was done once the readings of `record` decide it; None before that.

        `start`: dynamics and noise of the latest fit; `correlation`: of neighbouring readings.
        """
        now_s = float(record.age_s[-1])
        lag_s, dead_s, _ = np.exp(start.dynamics) if self.cue_s is None else start.move_times
        shown_s = float(dead_s + _SHOWN_WINDOWS * record.window_s + _SHOWN_LAGS * lag_s)
        begin_s, every_s = (
            (shown_s + _RISEN_LAGS * float(lag_s), _LOOK_AGAIN_S)
            if self.cue_s is None
            else (self.cue_s + LEAST_REACTION_S + shown_s, _LOOK_S)
        )
        if now_s < begin_s or now_s - self._looked_s < every_s:
            return None
        self._looked_s = now_s
        with suppress(np.linalg.LinAlgError):  # what cannot be weighed now may be later
            self._weighed.weigh(record, start, correlation)
        if not self._weighed.likely:
            return None
        if self.cue_s is None:
            return presses_seen(self._weighed) if self._sure else None
        return presses_seen(self._weighed) if self._is_over(now_s - shown_s) else None

    def _is_over(self, shown_until_s: float) -> bool:
        """Whether no more presses are to be expected; those until `shown_until_s` show by now."""
        assert self.cue_s is not None
        top = self._weighed.likely[0][1]
        late_s = shown_until_s - self.cue_s - self.longest_reaction_s
        if self._weighed.nothing > MAY_BE_NOTHING:
            return late_s > (0 if self._weighed.nothing > _UNLIKELY else _LONGER_S)
        if late_s > _BEGUN_LATE_S:
            return True
        quiet_s = shown_until_s - top.last_press_s
        if quiet_s < (_LONGEST_PRESS_S if self.gain_known else _BOUNCE_S):
            return False
        enough = self._sure or not self.gain_known or quiet_s > _LATEST_S
        return enough and self._weighed.nothing < (_NOTHING if self.gain_known else _NOTHING_YET)

    @property
    def predicted(self) -> PredictedOutput:
        """The output that presses as asked would give."""
        return self._weighed.predicted

    @property
    def longest_reaction_s(self) -> float:
        """Time after the cue for which presses are awaited; without any, nothing was pressed."""
        presses = sum(abs(press.times) for press in self.asked)
        return _LONGEST_REACTION_S + _LONGEST_PRESS_S * presses

    def at_the_end(self) -> PressesSeen | None:
        """Return the most probable by the readings so far; None where there were none."""
        return presses_seen(self._weighed) if self._weighed.likely else None

    @property
    def _sure(self) -> bool:
        return self._weighed.likely[0][0] > SURE
