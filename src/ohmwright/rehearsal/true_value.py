"""What a result should have been: the simulator's truth, free of lag and noise."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from ohmwright.engine.procedure import Procedure
from ohmwright.model.hardware import GeneratorData
from ohmwright.model.result import Result
from ohmwright.model.step import Timing
from ohmwright.simulator.profile import Waveform
from ohmwright.simulator.truth import Truth
from ohmwright.simulator.waveforms import waveform_samples

_SAMPLES, _PER_PERIOD = 1 << 14, 256


def true_value(
    result: Result, procedure: Procedure, generator: GeneratorData, truth: Truth
) -> float | None:
    """Return the true value of a result with a target, in the target's unit, with the trims now.

    At the age that the step states, of a rested activation, in the load as built. None where the
    simulator knows none: a step without target, or a kind that this module does not know.
    """
    if result.target is None or result.measured is None:
        return None
    match result.target.quantity:
        case "resistance_ohm":
            return None if truth.unit.monitor is None else truth.unit.monitor.alarm_ohm
        case "crest_factor":
            return None if result.mode is None else _crest_factor(_waveform(result.mode, truth))
        case "current_ma" | "power_w":
            return _true_output(result, _timing(result, procedure), generator, truth)
        case _:
            return None


def _timing(result: Result, procedure: Procedure) -> Timing:
    step = next((one for one in procedure.step if one.name == result.step), None)
    return procedure.defaults if step is None else procedure.timing(step)


def _true_output(
    result: Result, timing: Timing, generator: GeneratorData, truth: Truth
) -> float | None:
    mode, setting_w = result.mode, result.setting_w
    if mode is None or setting_w is None:  # service mode keys the point's mode at full setting
        point = generator.point(result.point)
        full = None if point is None else generator.mode(point.mode)
        if full is None:
            return None
        mode, setting_w = full.name, full.max_setting_w
    if result.load_ohm is None or result.target is None:
        return None
    if result.path == "LEAKAGE":
        resistance_ohm = result.load_ohm
        current_ma = truth.lag_free_leakage_ma(timing.age_s, mode, setting_w)
    else:
        resistance_ohm = truth.resistance_ohm(result.load_ohm)
        current_ma = truth.lag_free_current_ma(
            timing.age_s, mode=mode, setting_w=setting_w, load_ohm=result.load_ohm
        )
    if result.target.quantity == "current_ma":
        return current_ma
    return (current_ma / 1000) ** 2 * resistance_ohm


def _waveform(mode: str, truth: Truth) -> Waveform:
    return truth.unit.modes[mode].waveform


@lru_cache(maxsize=16)
def _crest_factor(waveform: Waveform) -> float:
    """Peak over RMS, from samples that miss less than 0.01 % of the peak."""
    samples = waveform_samples(waveform, _PER_PERIOD * waveform.carrier_hz, _SAMPLES)
    return float(np.max(np.abs(samples)))
