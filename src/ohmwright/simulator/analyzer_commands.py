"""The SCPI messages that the simulated analyzer understands."""

from __future__ import annotations

from math import nan
from typing import cast

from ohmwright.model.hardware import InputPath
from ohmwright.wire.scpi import encode_block, format_number, parse_number, short_form

from .capture import Capture, amps_per_count, capture_waveform
from .dispatcher import CommandError, Dispatcher, single_argument
from .generator import ILLEGAL_VALUE, OUT_OF_RANGE
from .meter import NO_READING
from .randomness import Randomness
from .rig import Rig
from .scpi_text import headers, parse_boolean

_PATHS = {
    spelling: cast(InputPath, pattern.upper())
    for pattern in ("OUTPut", "LEAKage", "CQUality")
    for spelling in headers(pattern)
}


class AnalyzerCommands:
    """Registers its commands on a dispatcher and carries them out on the rig."""

    def __init__(self, rig: Rig, dispatcher: Dispatcher, own: Randomness) -> None:
        self._rig, self._own = rig, own
        self._capture: tuple[int, Capture] | None = None
        on = dispatcher.on
        on("INPut:IMPedance", self._set_load)
        on("INPut:IMPedance?", lambda _: format_number(rig.load_ohm))
        on("INPut:PATH", self._set_path)
        on("INPut:PATH?", lambda _: short_form(rig.path))
        on("OUTPut[:STATe]", self._set_output)
        on("OUTPut[:STATe]?", lambda _: "1" if rig.contact_closed else "0")
        on("OUTPut[:STATe]:REMaining?", lambda _: format_number(rig.left_s))
        if rig.analyzer.data.activation.max_limit_s is not None:
            on("OUTPut[:STATe]:CEILing", self._set_ceiling)
            on("OUTPut[:STATe]:CEILing?", lambda _: format_number(rig.ceiling_s))
        on("FETCh:CURRent?", rig.plant.meter.fetch)
        if rig.analyzer.data.contact_quality_ohm is not None:
            on(
                "INPut:CQUality:IMPedance",
                lambda a: rig.set_contact(parse_number(single_argument(a))),
            )
            on("INPut:CQUality:IMPedance?", lambda _: format_number(rig.contact_ohm))
        if rig.analyzer.data.leakage_load_ohm is not None:
            on("FETCh:LEAKage?", self._fetch_leakage)
        if rig.analyzer.data.waveform:
            on("FETCh:CFACtor?", self._fetch_crest_factor)
            on("FETCh:WAVeform?", lambda _: encode_block(self._captured().counts))
            on("FETCh:WAVeform:SCALe?", self._waveform_scale)

    def _set_load(self, arguments: list[str]) -> None:
        self._rig.set_load(parse_number(single_argument(arguments)))

    def _set_path(self, arguments: list[str]) -> None:
        path = _PATHS.get(single_argument(arguments).upper())
        if path is None:
            raise CommandError(ILLEGAL_VALUE)
        self._rig.set_path(path)

    def _set_ceiling(self, arguments: list[str]) -> None:
        self._rig.set_ceiling(parse_number(single_argument(arguments)))

    def _set_output(self, arguments: list[str]) -> None:
        if not arguments:
            raise CommandError(-109)
        if not parse_boolean(arguments[0]):
            single_argument(arguments)
            self._rig.open_contact()
            return
        self._rig.close_contact(self._limit_s(arguments[1:]))

    def _limit_s(self, arguments: list[str]) -> float:
        if self._rig.analyzer.data.activation.max_limit_s is None:
            if arguments:
                raise CommandError(-108)
            return float("inf")
        limit_s = parse_number(single_argument(arguments))
        if not 0 < limit_s <= self._rig.ceiling_s:
            raise CommandError(OUT_OF_RANGE)
        return limit_s

    def _fetch_leakage(self, arguments: list[str]) -> bytes:
        rig = self._rig
        return rig.plant.meter.fetch(arguments) if rig.path == "LEAKAGE" else NO_READING

    def _fetch_crest_factor(self, _: list[str]) -> str:
        crest = self._captured().crest_factor
        value = format_number(nan if crest is None else crest)
        return f"{value},1,{self._rig.plant.meter.number:05d}"

    def _waveform_scale(self, _: list[str]) -> str:
        physics = self._rig.analyzer.physics.meter
        return f"{amps_per_count(physics):+.9E},{1 / physics.sample_rate_hz:+.9E}"

    def _captured(self) -> Capture:
        """The waveform capture of the latest reading, made once a reading."""
        rig, meter = self._rig, self._rig.plant.meter
        if self._capture is None or self._capture[0] != meter.number:
            mode = rig.generator.unit.modes[rig.generator.mode]
            current_ma = min(meter.value_ma or 0.0, meter.data.max_current_ma)
            physics = rig.analyzer.physics.meter
            capture = capture_waveform(mode.waveform, current_ma, meter.number, physics, self._own)
            self._capture = meter.number, capture
        return self._capture[1]
