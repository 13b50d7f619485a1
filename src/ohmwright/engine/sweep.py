"""Sweeps: the output at each setting into each load resistance, without targets."""

from __future__ import annotations

from collections.abc import AsyncGenerator, Sequence
from dataclasses import dataclass
from math import isfinite, nan

from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import GoBack, SkipStep
from ohmwright.model.errors import OutOfCapability
from ohmwright.model.step import Timing

from .activation import refuse_overload
from .measured_value import Accuracy, measured_value
from .release import ensure_off_at_start
from .requirements import expected_ma
from .rested_activation import ActivationReadings, measure_settled_output
from .session import Session
from .traceability import accuracy_at, accuracy_if_in_date


@dataclass(frozen=True)
class SweepPoint:
    """The output at one setting into one load resistance; NaN where there was none."""

    mode: str
    setting_w: float
    load_ohm: float
    current_ma: float
    uncertainty_ma: float
    """Standard uncertainty of the current; of the readings alone where not `certified`."""
    settled: bool
    certified: bool
    """Whether the analyzer's certificate, in date, is part of the uncertainty."""
    on_s: float

    @property
    def power_w(self) -> float:
        """Power in the load, P = I² R."""
        return (self.current_ma / 1000) ** 2 * self.load_ohm

    @property
    def voltage_v(self) -> float:
        """Voltage across the load, U = I R."""
        return self.current_ma / 1000 * self.load_ohm


async def sweep(
    bench: Bench,
    *,
    mode: str,
    settings_w: Sequence[float],
    loads_ohm: Sequence[float],
    timing: Timing,
) -> AsyncGenerator[SweepPoint, None]:
    """Measure every setting into every load, each in a rested activation, and yield each point.

    A setting that a person skips is left out. Raises OutOfCapability, before anything is switched
    on, where the bench cannot do it. RF is off at every yield.
    """
    _refuse_impossible(bench, mode, settings_w, loads_ohm, timing)
    session = Session(bench, accuracy=accuracy_if_in_date(bench))
    await ensure_off_at_start(bench)
    await session.input.join("OUTPUT")
    for setting_w in settings_w:
        if not await _select_unless_skipped(bench, mode, setting_w):
            continue
        for load_ohm in loads_ohm:
            seen = await measure_settled_output(
                session, load_ohm=load_ohm, power_w=setting_w, timing=timing
            )
            yield _point(
                mode,
                setting_w,
                load_ohm,
                timing,
                seen,
                accuracy_at(session, mode, load_ohm),
                zero_limit_ma=bench.rf.zero_limit_ma,
            )


async def _select_unless_skipped(bench: Bench, mode: str, setting_w: float) -> bool:
    """Choose mode and setting; return False where a person skips the setting.

    A sweep cannot go back: a person who wants to is asked again. Raises StopRun where they stop it.
    """
    while True:
        try:
            await bench.generator.select(mode, setting_w)
        except SkipStep:
            return False
        except GoBack:
            continue
        return True


def _point(
    mode: str,
    setting_w: float,
    load_ohm: float,
    timing: Timing,
    seen: ActivationReadings,
    accuracy: Accuracy | None,
    *,
    zero_limit_ma: float,
) -> SweepPoint:
    """Return the point; its value is NaN where no current above the meter's zero was read."""
    flows = any(sample.current_ma > zero_limit_ma for sample in seen.samples)
    settled = seen.settled
    current_ma = uncertainty_ma = nan
    if settled is not None and isfinite(settled.uncertainty) and flows:
        measured = measured_value(settled, "current_ma", load_ohm, timing, accuracy)
        current_ma, uncertainty_ma = measured.value, measured.uncertainty
    return SweepPoint(
        mode=mode,
        setting_w=setting_w,
        load_ohm=load_ohm,
        current_ma=current_ma,
        uncertainty_ma=uncertainty_ma,
        settled=settled is not None and settled.settled,
        certified=accuracy is not None,
        on_s=seen.on_s,
    )


def _refuse_impossible(
    bench: Bench,
    mode_name: str,
    settings_w: Sequence[float],
    loads_ohm: Sequence[float],
    timing: Timing,
) -> None:
    generator, meter = bench.generator.data, bench.analyzer.data.meter
    mode = generator.mode(mode_name)
    if mode is None:
        names = ", ".join(mode.name for mode in generator.modes)
        raise OutOfCapability(f"{generator.model} has no mode '{mode_name}'; it has {names}.")
    for setting_w in settings_w:
        if not 0 < setting_w <= mode.max_setting_w:
            raise OutOfCapability(
                f"{setting_w:g} W lies outside {mode.name}'s 0 to {mode.max_setting_w:g} W."
            )
        for load_ohm in loads_ohm:
            refuse_overload(
                bench.analyzer, load_ohm=load_ohm, power_w=setting_w, limit_s=timing.max_on_s
            )
            current_ma = expected_ma(mode, setting_w, load_ohm)
            if current_ma > meter.max_current_ma:
                raise OutOfCapability(
                    f"{setting_w:g} W into {load_ohm:g} ohm may drive {current_ma:.0f} mA, over "
                    f"the meter's {meter.max_current_ma:g} mA."
                )
