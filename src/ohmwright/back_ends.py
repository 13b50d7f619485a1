"""What a back end in a package of its own imports; `ohmwright guide own_analyzer` shows one.

A package offers its back ends under the entry point groups `ohmwright.analyzers` and
`ohmwright.generators`; a data file names one by `backend = "NAME"`.
"""

from __future__ import annotations

from ohmwright.instruments.analyzer import Reading, WaveformCapture
from ohmwright.instruments.back_ends.base import AnalyzerBackEnd, BackEnd, GeneratorBackEnd
from ohmwright.instruments.back_ends.line import Line
from ohmwright.model.base import FrozenModel as Options
from ohmwright.model.errors import InstrumentRefused, LinkTimeout, ProtocolError
from ohmwright.wire.guard.release_orders import ReleaseOrders

__all__ = [
    "AnalyzerBackEnd",
    "BackEnd",
    "GeneratorBackEnd",
    "InstrumentRefused",
    "Line",
    "LinkTimeout",
    "Options",
    "ProtocolError",
    "Reading",
    "ReleaseOrders",
    "WaveformCapture",
]
