"""What one run carries from activation to activation: time on, and the rest that is due."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import datetime
from typing import TypedDict

from ohmwright.instruments.bench import Bench
from ohmwright.model.result import Sample

from .activation import Activation, activation
from .appraisal import Accuracy

OnSample = Callable[[Sample], None]


class Stamp(TypedDict):
    """The two times of an event."""

    at: datetime
    bench_s: float


def ignore(_: Sample) -> None:
    """Listen to nothing."""


@dataclass
class Session:
    """A bench at work."""

    bench: Bench
    on_sample: OnSample = ignore
    """Told each reading while RF is on; must return at once."""
    accuracy: Accuracy | None = None
    """What the analyzer's certificate says of its readings today; None without one."""
    on_s: float = 0.0
    started_s: float = field(init=False)
    _last_off_s: float = float("-inf")
    _duty_kept_at_s: float = float("-inf")

    def __post_init__(self) -> None:
        self.started_s = self.bench.clock.now_s()

    def stamp(self) -> Stamp:
        """The two times every event carries."""
        clock = self.bench.clock
        return Stamp(at=clock.wall(), bench_s=round(clock.now_s(), 6))

    async def rest(self, rest_s: float) -> None:
        """Wait until the last activation is `rest_s` old and the load bank's duty is kept."""
        clock = self.bench.clock
        due_s = max(self._last_off_s + rest_s, self._duty_kept_at_s)
        await clock.sleep(max(0.0, due_s - clock.now_s()))

    @asynccontextmanager
    async def activation(
        self, *, load_ohm: float, power_w: float, limit_s: float
    ) -> AsyncIterator[Activation]:
        """An activation whose time is counted, and whose load gets the rest its duty needs."""
        clock = self.bench.clock
        before_s = clock.now_s()
        try:
            async with activation(
                self.bench, load_ohm=load_ohm, power_w=power_w, limit_s=limit_s
            ) as opened:
                before_s = clock.now_s()
                yield opened
        finally:
            self._last_off_s = clock.now_s()
            on_s = self._last_off_s - before_s
            self.on_s += on_s
            self._duty_kept_at_s = self._last_off_s + self._duty_rest_s(on_s, power_w)

    def _duty_rest_s(self, on_s: float, power_w: float) -> float:
        """Off-time that keeps the load bank's share of on-time, scaled by the power used."""
        bank = self.bench.analyzer.data.load_bank
        allowed = bank.duty * bank.max_power_w / power_w
        return on_s * max(0.0, 1 / allowed - 1)
