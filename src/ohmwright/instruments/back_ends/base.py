"""The base classes of back ends that come from outside this package.

A back end's methods are the messages of a command set, by the same names, as plain functions. Each
is called in a thread of its own and may wait; one that takes longer than `timeout_s` is given up.
What a method returns is held against what it should be, and what it raises ends as an error of the
line, so that a faulty back end can be wrong only as a faulty instrument can.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any, ClassVar, get_args

from pydantic import BaseModel

from ohmwright.instruments.analyzer import Reading, WaveformCapture
from ohmwright.model.base import FrozenModel
from ohmwright.model.hardware import AnalyzerData, GeneratorData, InputPath
from ohmwright.wire.command_set import Ask, Tell, Verb
from ohmwright.wire.guard.orders import ReleaseOrders
from ohmwright.wire.serial_format import SerialFormat

from .line import InstrumentLine


class NoOptions(FrozenModel):
    """The options of a back end that has none."""


class BackEnd(ABC):
    """What a back end of either kind of instrument has."""

    Options: ClassVar[type[BaseModel]] = NoOptions
    """What `[data.options]` of the instrument's data file may say."""
    timeout_s: ClassVar[float] = 2.0
    """How long each method may take."""
    serial: ClassVar[SerialFormat] = SerialFormat()
    """How the instrument wants a serial port set, apart from its speed."""

    def __init__(self, line: InstrumentLine | None, options: Any, data: Any) -> None:
        self._line, self.options, self.data = line, options, data

    @property
    def line(self) -> InstrumentLine:
        """The line of the bench file; None there: the back end opens a way of its own."""
        if self._line is None:
            raise RuntimeError("the bench file has no link for this back end")
        return self._line

    @abstractmethod
    def identify(self) -> str:
        """Return maker, model and serial number: a text that stays the same."""

    def resynchronise(self, nonce: int) -> int:
        """Return `nonce` (2 to 255) as the instrument sent it back: it proves the line."""
        raise NotImplementedError

    def open(self) -> None:
        """Do what comes before all else, as the change to remote control; RF stays as it is.

        Called again when a lost line was found.
        """
        return

    def close(self) -> None:
        """Undo that, and close what the back end has opened by itself; RF reads off by now."""
        return


class AnalyzerBackEnd(BackEnd):
    """A bench analyzer worked by code; what it does not override it is said not to have."""

    data: AnalyzerData

    @classmethod
    def release_orders(cls, options: Any) -> ReleaseOrders | None:  # noqa: ARG003
        """Return, as bytes, how the guard switches off; None leaves the bench without a guard.

        `plain_orders` makes them of plain replies. With orders `off` and `state` are not called:
        they are carried out from these bytes.
        """
        return None

    def set_load(self, load_ohm: float) -> None:
        """Connect the load resistance `load_ohm`."""
        raise NotImplementedError

    def on(self, limit_s: float) -> None:
        """Close the keying output for at most `limit_s` seconds, which the analyzer keeps.

        Where the data state no `max_limit_s`, the analyzer keeps none.
        """
        raise NotImplementedError

    def fetch_current(self) -> Reading | float:
        """Return the latest completed reading in mA, with its number where it has one.

        NaN while the meter has nothing to show.
        """
        raise NotImplementedError

    def off(self) -> None:
        """Open the keying output at once."""
        raise NotImplementedError

    def state(self) -> bool:
        """Return whether the keying output reads closed."""
        raise NotImplementedError

    def sent_limit_s(self, limit_s: float) -> float:
        """Return the limit in s that `on` would send for `limit_s`, never longer."""
        return limit_s

    def remaining(self) -> float:
        """Return what is left of the running limit in s; 0 where no activation runs."""
        raise NotImplementedError

    def load(self) -> float:
        """Return the load resistance connected, in ohm."""
        raise NotImplementedError

    def set_path(self, path: InputPath) -> None:
        """Join the input to a circuit."""
        raise NotImplementedError

    def path(self) -> InputPath:
        """Return the circuit joined."""
        raise NotImplementedError

    def set_contact(self, contact_ohm: float) -> None:
        """Connect a resistance between the halves of the neutral electrode."""
        raise NotImplementedError

    def contact(self) -> float:
        """Return that resistance in ohm."""
        raise NotImplementedError

    def fetch_leakage(self) -> Reading | float:
        """Return the latest completed reading of the HF leakage current, as `fetch_current`."""
        raise NotImplementedError

    def fetch_waveform(self) -> WaveformCapture:
        """Return the waveform that belongs to the latest completed reading."""
        raise NotImplementedError


class GeneratorBackEnd(BackEnd):
    """A generator's port worked by code."""

    data: GeneratorData

    def select_mode(self, mode: str) -> None:
        """Choose a mode."""
        raise NotImplementedError

    def set_power(self, setting_w: float) -> None:
        """Choose the power setting in W."""
        raise NotImplementedError

    def mode(self) -> str:
        """Return the mode chosen."""
        raise NotImplementedError

    def power(self) -> float:
        """Return the setting chosen, in W."""
        raise NotImplementedError

    def service_on(self) -> None:
        """Enter service mode."""
        raise NotImplementedError

    def service_off(self) -> None:
        """Leave service mode; trims that were not stored are lost."""
        raise NotImplementedError

    def set_point(self, point: str) -> None:
        """Choose an adjustment point."""
        raise NotImplementedError

    def trim(self) -> int:
        """Return the trim of the chosen point, in counts."""
        raise NotImplementedError

    def set_trim(self, counts: int) -> None:
        """Set the trim of the chosen point."""
        raise NotImplementedError

    def store(self) -> None:
        """Keep the trims."""
        raise NotImplementedError

    def contact_alarm(self) -> bool:
        """Return whether the contact quality alarm is on."""
        raise NotImplementedError


def verbs_of(back_end: type[BackEnd], *, has_orders: bool = False) -> frozenset[Verb]:
    """The verbs that `back_end` has methods of its own for, and those that its orders stand for."""
    verbs: tuple[Verb, ...] = (*get_args(Ask), *get_args(Tell))
    own = {verb for verb in verbs if _is_own(back_end, verb)}
    if "fetch_waveform" in own:  # which brings its scales along
        own.add("waveform_scale")
    return frozenset({*own, "off", "state"} if has_orders else own)


def _is_own(back_end: type[BackEnd], verb: str) -> bool:
    bases: tuple[type, ...] = (BackEnd, AnalyzerBackEnd, GeneratorBackEnd)
    method = getattr(back_end, verb, None)
    return method is not None and all(getattr(base, verb, None) is not method for base in bases)
