"""What a back end in a package of its own imports; `ohmwright guide own_analyzer` shows one.

A package offers its back ends under the entry point groups `ohmwright.analyzers` and
`ohmwright.generators`; a data file names one by `backend = "NAME"`.
"""

from __future__ import annotations

from ohmwright.instruments.analyzer import Reading, WaveformCapture
from ohmwright.instruments.back_ends.base import AnalyzerBackEnd, BackEnd, GeneratorBackEnd
from ohmwright.instruments.back_ends.line import InstrumentLine
from ohmwright.instruments.back_ends.release_line import plain_orders
from ohmwright.model.base import FrozenModel as Options
from ohmwright.model.errors import InstrumentRefused, LinkTimeout, ProtocolError
from ohmwright.wire.frame_layout import FrameLayout
from ohmwright.wire.guard.orders import ReleaseOrders
from ohmwright.wire.serial_format import SerialFormat

__all__ = [
    "AnalyzerBackEnd",
    "BackEnd",
    "FrameLayout",
    "GeneratorBackEnd",
    "InstrumentLine",
    "InstrumentRefused",
    "LinkTimeout",
    "Options",
    "ProtocolError",
    "Reading",
    "ReleaseOrders",
    "SerialFormat",
    "WaveformCapture",
    "plain_orders",
]
