"""An opened bench: the instruments, operator and clock that the engine works with."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.bench_file import Asset
from ohmwright.model.document import Document
from ohmwright.model.traceability import Environment
from ohmwright.wire.clock import Clock

from .analyzer import Analyzer
from .generator import Generator
from .operator import Operator
from .rf_monitor import RfMonitor


@dataclass(frozen=True)
class Bench:
    """One bench, for use by one task."""

    name: str
    analyzer: Analyzer
    generator: Generator
    operator: Operator
    clock: Clock
    asset: Asset
    certificate: AnalyzerCertificate | None = None
    """The analyzer's; without one, uncertainties are of the readings only."""
    environment: Environment | None = None
    """The room, where someone has read it."""
    seed: int | None = None
    """Kept in the record so that a simulated run can be repeated and told from a real one."""
    documents: tuple[Document, ...] = ()
    """The files that it was put together from, as they were read."""

    @cached_property
    def rf(self) -> RfMonitor:
        """What was last read of RF at this bench."""
        return RfMonitor(self.analyzer, self.clock)
