"""The only way to switch RF on (rule 1), and the way it is always switched off again."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial

import anyio

from ohmwright.instruments.analyzer import Analyzer
from ohmwright.instruments.bench import Bench
from ohmwright.model import last_of_rf
from ohmwright.model.errors import LinkError, LinkLost, OutOfCapability, ReleaseNotConfirmed
from ohmwright.wire.clock import Clock

from .to_its_end import to_its_end

RELEASE_BOUND_S = 8.0
"""Longest time of the machine that a release may take; a fault cannot hold the clean-up up."""
LAST_LOOK_S = 3.0
"""What a last look may take after it: a process that was stopped meanwhile has not looked yet."""
_TRIES = 40
_BETWEEN_TRIES_S = 0.1


class Activation:
    """An open activation: how old it is, and what is left of its limit."""

    def __init__(self, clock: Clock, limit_s: float) -> None:
        self._clock, self.limit_s = clock, limit_s
        self._started_s = clock.now_s()
        self.power_w: float | None = None
        """The largest power seen in the load so far, noted by whoever reads the meter."""

    @property
    def age_s(self) -> float:
        """Seconds since the ON command was answered."""
        return self._clock.now_s() - self._started_s

    @property
    def left_s(self) -> float:
        """What is left of the limit."""
        return max(0.0, self.limit_s - self.age_s)

    def note_power(self, current_ma: float, load_ohm: float) -> None:
        """A reading of the load current: P = I² R."""
        self.power_w = max(self.power_w or 0.0, (current_ma / 1000) ** 2 * load_ohm)

    def restart(self) -> None:
        """Count from now: ON has been answered."""
        self._started_s = self._clock.now_s()


@asynccontextmanager
async def activation(
    bench: Bench, *, load_ohm: float, power_w: float, limit_s: float
) -> AsyncIterator[Activation]:
    """Switch RF on for the length of the block, never longer than `limit_s`.

    `power_w` is the most that the setting can put into the load. Raises OutOfCapability before
    anything is switched on; ReleaseNotConfirmed when the output could not be read back as off.
    """
    refuse_overload(bench.analyzer, load_ohm=load_ohm, power_w=power_w, limit_s=limit_s)
    await bench.analyzer.set_load(load_ohm)
    opened = Activation(bench.clock, limit_s)
    try:
        await bench.analyzer.begin_watch()
        last_of_rf.doubt()
        await bench.analyzer.switch_on(limit_s)
        opened.restart()
        yield opened
    finally:
        await confirmed_release(bench.analyzer, bench.clock)


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


async def begin_off(analyzer: Analyzer, clock: Clock) -> None:
    """See at first contact that nothing is on; release what is.

    A line that fails here raises its own LinkError: this program has switched nothing on.
    """
    await analyzer.identify()
    if await _still_on(analyzer) is not None:
        last_of_rf.doubt()
        await confirmed_release(analyzer, clock)
    last_of_rf.read_off(clock.wall())


async def confirmed_release(analyzer: Analyzer, clock: Clock) -> None:
    """Send OFF and read the output back, whoever cancels how often, and bounded in time.

    Raises ReleaseNotConfirmed when the contact does not read open, current still flows, or it is
    not the analyzer that was switched on that says so.
    """
    problem = await to_its_end(partial(_bounded_release, analyzer, clock))
    if problem is not None:
        raise ReleaseNotConfirmed(
            f"RF MAY STILL BE ON: {problem}.",
            "The output could not be read back as off.",
            "Do not touch the electrodes or the load terminals. Switch the generator off at its "
            "mains switch now, then find out why.",
        )
    last_of_rf.read_off(clock.wall())


async def _bounded_release(analyzer: Analyzer, clock: Clock) -> str | None:
    for bound_s in (RELEASE_BOUND_S, LAST_LOOK_S):
        with anyio.move_on_after(bound_s, shield=True):
            return await _release(analyzer, clock)
    return "the time for it ran out"


async def _release(analyzer: Analyzer, clock: Clock) -> str | None:
    """Try until off is confirmed; return what is wrong when it could not be."""
    problem = "OFF was not sent"
    for _ in range(_TRIES):
        try:
            await analyzer.switch_off()
            still = await _still_on(analyzer)
            if still is None:
                await analyzer.identify()  # what read off is what was switched on
                await analyzer.end_watch()
                return None
            problem = still
        except LinkLost as lost:
            return lost.happened.rstrip(".")
        except LinkError as error:
            problem = error.happened.rstrip(".")
        await clock.sleep(_BETWEEN_TRIES_S)
    return problem


async def _still_on(analyzer: Analyzer) -> str | None:
    if await analyzer.output_on():
        return "the analyzer's keying output reads closed"
    current_ma = (await analyzer.fetch_current()).current_ma
    if current_ma <= off_below_ma(analyzer):
        return None
    return f"the keying output reads open, yet {current_ma:g} mA flows"


def off_below_ma(analyzer: Analyzer) -> float:
    """A current at or below this is none: the meter's noise and last digit."""
    meter = analyzer.data.meter
    return max(10 * meter.resolution_ma, 0.005 * meter.max_current_ma)
