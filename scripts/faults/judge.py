"""What a run with a fault may leave behind, held against the same run without."""

from __future__ import annotations

from asyncio import CancelledError
from collections.abc import AsyncGenerator, Callable
from contextlib import aclosing
from dataclasses import dataclass, field
from math import hypot
from typing import Any

from ohmwright.model.errors import OhmwrightError, ReleaseNotConfirmed
from ohmwright.model.event import ActivationClosed, Event, PointDone, RunStarted
from ohmwright.model.result import Result

from .rig import Hung, Rig

_UNCERTAINTIES = 5.0
"""A fault that costs time makes a run read other noise, so two sound values differ by some
combined standard uncertainties; five are one in a million."""
_DIGIT_MA = 1.0
_READING_S = 0.5


@dataclass(frozen=True)
class Value:
    """A recorded value, and how far it lies from the truth at the time."""

    error: float
    uncertainty: float
    verdict: str


@dataclass
class Log:
    """What a run recorded, in the terms in which two runs are compared."""

    exact: dict[str, object] = field(default_factory=dict)
    """Texts and counts, which must be the same."""
    named: list[str] = field(default_factory=list)
    """Every result, in the order in which they came."""
    trims: dict[str, int] = field(default_factory=dict)
    """Where the trim of each adjusting point was left."""
    values: dict[str, Value] = field(default_factory=dict)
    false: list[str] = field(default_factory=list)
    """Records that the truth contradicts, by themselves."""
    finished: bool = False
    error: BaseException | None = None
    _true_ma: float = 0.0

    async def keep(
        self, rig: Rig, work: AsyncGenerator[Any, None], enough: Callable[[], bool] = lambda: False
    ) -> None:
        """Run `work` to its end, or to the first result at which it is `enough`."""
        try:
            async with aclosing(work) as events:
                async for event in events:
                    results = len(self.named)
                    self._take(rig, event)
                    if len(self.named) > results and enough():
                        return
            self.finished = True
        except (Exception, Hung) as error:
            self.error = error

    def _take(self, rig: Rig, event: Event) -> None:
        truth = rig.hardware.truth
        match event:
            case RunStarted():
                self.exact["identities"] = f"{event.analyzer} {event.generator}"
            case ActivationClosed():
                self._true_ma = truth.lag_free_current_ma()
            case PointDone():
                self._take_result(rig, event.result)

    def _take_result(self, rig: Rig, result: Result) -> None:
        name = f"{result.stage} {result.step} {result.point}"
        self.named.append(name)
        strange = [s for s in result.samples if s.current_ma not in rig.said_ma]
        if strange:
            self.false.append(f"{name}: no such reading was shown: {strange[0]}")
        if result.kind == "contact_quality" and result.verdict != "not measured":
            self.exact[name] = (result.load_ohm, result.verdict)
        if result.stage == "adjust":
            self._take_trims(rig, name, result)
        if result.measured is not None:
            measured = result.measured
            true = self._true_value(result)
            claimed = result.sweep is not None and result.sweep.settled
            verdict = "pass" if claimed else result.verdict
            self.values[name] = Value(measured.value - true, measured.uncertainty, verdict)

    def _true_value(self, result: Result) -> float:
        """What the output truly was; zero for what is no output, such as a ratio."""
        quantity = None if result.measured is None else result.measured.quantity
        if quantity == "power_w":
            return (self._true_ma / 1000) ** 2 * (result.load_ohm or 0.0)
        return self._true_ma if quantity == "current_ma" and result.kind != "leakage" else 0.0

    def _take_trims(self, rig: Rig, name: str, result: Result) -> None:
        if result.verdict != "not measured":  # a point left out for its lost load claims no start
            self.exact[f"{name} start"] = result.start_trim
        if rig.bench.generator.unattended and result.final_trim is not None:
            self.trims[result.point] = result.final_trim


def wrong_values(rig: Rig, log: Log, sound: Log) -> list[str]:
    """Each recorded value that the run without a fault would not have recorded."""
    wrong = list(log.false)
    trims = rig.hardware.truth.trims
    wrong += [f"{p}: at {trims[p]}, not {n}" for p, n in log.trims.items() if trims[p] != n]
    wrong += [
        f"{k}: {v}, not {sound.exact.get(k)}"
        for k, v in log.exact.items()
        if v != sound.exact.get(k)
    ]
    for name, value in log.values.items():
        expected = sound.values.get(name)
        if expected is None:
            continue
        # what is called undecided claims nothing
        allowed = _UNCERTAINTIES * hypot(value.uncertainty, expected.uncertainty) + _DIGIT_MA
        if value.verdict != "undecided" and abs(value.error - expected.error) > allowed:
            wrong.append(f"{name}: off by {value.error:g}, not {expected.error:g}, +- {allowed:g}")
    return wrong


def verdict(rig: Rig, log: Log, sound: Log) -> dict[str, Any]:
    """Whether the rules held: what the harness counts."""
    how = "" if log.error is None else f"{type(log.error).__name__}: {log.error}"
    left_on = _left_on(rig, log)
    wrong = wrong_values(rig, log, sound)
    expected = sound.named if log.finished else sound.named[: len(log.named)]
    missing = log.named != expected
    crashed = not isinstance(log.error, OhmwrightError | Hung | CancelledError | None)
    return {
        "left_on": left_on,
        "wrong": bool(wrong),
        "undetected": (log.error is None and bool(wrong)) or missing or crashed,
        "hang": isinstance(log.error, Hung),
        "how": "; ".join([*wrong, how][:3])[:600],
        "error": type(log.error).__name__ if log.error is not None else "",
    }


def _left_on(rig: Rig, log: Log) -> bool:
    """RF on that nobody announced, or that the limit sent with ON did not end."""
    if rig.rf_on and not isinstance(log.error, ReleaseNotConfirmed):
        return True
    rig.clock.bound_s = float("inf")
    rig.clock.advance(rig.case.longest_s + _READING_S)
    return rig.rf_on or rig.overrun_s() > _READING_S
