"""A conformance kit whose activations put little power into a load near the rated one."""

from __future__ import annotations

from contextlib import AbstractAsyncContextManager
from typing import NamedTuple

from ohmwright.instruments.conformance_kit import Kit
from ohmwright.model.hardware import AnalyzerData, Mode

from .session import Session

_SHARE_OF_FULL = 0.03
"""Setting of the checks, as a part of the mode's full setting."""


class LowOutput(NamedTuple):
    """A kit, and the power setting in W of its activations."""

    kit: Kit
    setting_w: float


async def low_output(session: Session) -> LowOutput:
    """Set the first mode of the generator's data to 3 % of full setting; RF stays off."""
    bench = session.bench
    mode = bench.generator.data.modes[0]
    setting_w = _low_setting_w(mode)
    await session.input.join("OUTPUT")
    await bench.generator.select(mode.name, setting_w)

    def activate(load_ohm: float, limit_s: float) -> AbstractAsyncContextManager[object]:
        return session.activation(load_ohm=load_ohm, power_w=setting_w, limit_s=limit_s)

    load_ohm = _nearest_load_ohm(bench.analyzer.data, mode)
    return LowOutput(Kit(bench.analyzer, bench.clock, activate, load_ohm, setting_w), setting_w)


def _low_setting_w(mode: Mode) -> float:
    return max(1.0, float(round(_SHARE_OF_FULL * mode.max_setting_w)))


def _nearest_load_ohm(data: AnalyzerData, mode: Mode) -> float:
    return min(data.load_bank.loads_ohm, key=lambda ohm: abs(ohm - mode.rated_load_ohm))
