"""The only way to switch RF on: a block that is always left with RF read back as off."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from ohmwright.instruments.analyzer import Analyzer
from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import (
    ExcessiveOutput,
    OutOfCapability,
    ReleaseNotConfirmed,
    UnaskedOutput,
)

from .release import ConfirmedRelease, confirmed_release

_EXCESS = 1.5
"""More than so many times what was asked is no creep: another mode or setting is chosen."""
_EXCESS_AT_LEAST_W = 3.0
"""Small settings may be off by this much more."""
_OVERLOAD = 1.1
"""More than so many times what the load bank bears, at one reading, is too much for it."""


_AT_THE_LIMIT_S = 0.1


class Activation:
    """An open activation: how old it is, what is left of its limit, what may flow."""

    def __init__(self, bench: Bench, *, load_ohm: float, power_w: float, limit_s: float) -> None:
        self._clock, self._load_ohm = bench.clock, load_ohm
        sent_s = bench.analyzer.sent_limit_s(limit_s)
        self.limit_s = limit_s if sent_s is None else sent_s
        """After so long it is over: by the analyzer's doing where ON carries a limit."""
        self._asked_w, self._rated_w = power_w, bench.analyzer.data.load_bank.max_power_w
        self._started_s = bench.clock.now_s()
        self.power_w: float | None = None
        """The largest power seen in the load so far."""
        self.flowed = False
        """Whether a current was seen."""
        self._zero_limit_ma = bench.rf.zero_limit_ma
        self.release_s: float | None = None
        """Seconds from OFF until the keying output read open; None before."""

    @property
    def age_s(self) -> float:
        """Seconds since the ON command was answered."""
        return self._clock.now_s() - self._started_s

    @property
    def left_s(self) -> float:
        """What is left of the limit."""
        return max(0.0, self.limit_s - self.age_s)

    def note_current(self, current_ma: float) -> None:
        """Take a reading of the load current.

        Raises ExcessiveOutput when far more power flows, P = I² R, than was asked for or
        than the load may bear.
        """
        power_w = (current_ma / 1000) ** 2 * self._load_ohm
        self.power_w = max(self.power_w or 0.0, power_w)
        self.flowed = self.flowed or current_ma > self._zero_limit_ma
        asked_w = max(_EXCESS * self._asked_w, self._asked_w + _EXCESS_AT_LEAST_W)
        if power_w > min(asked_w, _OVERLOAD * self._rated_w):
            raise ExcessiveOutput(
                f"{power_w:.0f} W flowed into {self._load_ohm:g} ohm where at most "
                f"{min(self._asked_w, self._rated_w):g} W was to flow.",
                "RF was switched off at that reading; no value was taken.",
                "Mode or setting on the panel? Look at both, and at the load, before going on.",
            )

    def restart(self) -> None:
        """Count from now: ON has been answered."""
        self._started_s = self._clock.now_s()


@asynccontextmanager
async def activation(
    bench: Bench, *, load_ohm: float, power_w: float, limit_s: float
) -> AsyncIterator[Activation]:
    """Switch RF on for the length of the block, never longer than `limit_s`.

    `power_w` is the most that the setting can put into the load. Raises OutOfCapability before
    anything is switched on, UnaskedOutput when RF was on before it was asked for, and
    ReleaseNotConfirmed when the output could not be read back as off or only the limit ended it.
    """
    refuse_overload(bench.analyzer, load_ohm=load_ohm, power_w=power_w, limit_s=limit_s)
    await refuse_unasked(bench)
    await bench.analyzer.set_load(load_ohm)
    opened = Activation(bench, load_ohm=load_ohm, power_w=power_w, limit_s=limit_s)
    try:
        await bench.analyzer.begin_watch()
        bench.rf.set_unknown()
        await bench.analyzer.switch_on(limit_s)
        opened.restart()
        yield opened
    finally:
        release = await confirmed_release(bench, seen_to_flow=opened.flowed)
        _refuse_end_by_limit(opened, release)
        opened.release_s = release.took_s


def refuse_overload(analyzer: Analyzer, *, load_ohm: float, power_w: float, limit_s: float) -> None:
    """Raise OutOfCapability unless load, power and time lie inside the analyzer's rating."""
    bank, contact = analyzer.data.load_bank, analyzer.data.activation
    problem = None
    if load_ohm not in bank.loads_ohm:
        problem = f"the load bank has no {load_ohm:g} ohm"
    elif power_w > bank.max_power_w:
        problem = f"{power_w:g} W is more than the load bank's {bank.max_power_w:g} W"
    elif limit_s > bank.max_on_s:
        problem = f"{limit_s:g} s is longer than the load bank's {bank.max_on_s:g} s"
    elif contact.max_limit_s is not None and limit_s > contact.max_limit_s:
        problem = f"{limit_s:g} s is more than the ON command can carry"
    if problem is not None:
        raise OutOfCapability(
            f"Activation refused: {problem}.",
            "RF stayed off.",
            "Correct the procedure or use another analyzer.",
        )


async def refuse_unasked(bench: Bench) -> None:
    """Raise UnaskedOutput when RF is on though nobody asked, and OFF ended it.

    Raises ReleaseNotConfirmed when it did not.
    """
    problem = await bench.rf.found_on()
    if problem is None:
        return
    await confirmed_release(bench)
    raise UnaskedOutput(
        f"RF was on though it had not been asked for: {problem}.",
        "OFF was sent, and it reads off now.",
        "Pedal, a second control, a contact that sticks? Find out before going on.",
    )


def _refuse_end_by_limit(opened: Activation, release: ConfirmedRelease) -> None:
    """Raise ReleaseNotConfirmed where OFF changed nothing and the limit ended the activation."""
    if release.stayed_closed and opened.left_s < _AT_THE_LIMIT_S:
        raise ReleaseNotConfirmed(
            "OFF DOES NOT SWITCH OFF: the output stayed on after OFF and went off only at the "
            f"limit of {opened.limit_s:g} s sent with ON.",
            "It reads off now. Nothing but that limit would end the next activation.",
            "Do not go on with this bench: check 'off' in the analyzer's command set against its "
            "manual, then the analyzer.",
        )
