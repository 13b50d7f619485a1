"""An opened bench: the instruments, operator and clock that the engine works with."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.bench_file import Asset
from ohmwright.model.document import Document
from ohmwright.model.errors import UsageError
from ohmwright.model.traceability import Environment
from ohmwright.model.typed_command import typed_command
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
    asset: Asset | None
    """The unit under test; None for a bench that is only looked at."""
    certificate: AnalyzerCertificate | None = None
    """The analyzer's; without one, uncertainties are of the readings only."""
    environment: Environment | None = None
    """The room, where someone has read it."""
    seed: int | None = None
    """Kept in the record so that a simulated run can be repeated and told from a real one."""
    documents: tuple[Document, ...] = ()
    """The files that it was put together from, as they were read."""

    def __post_init__(self) -> None:
        self.operator.keyed_by_foot = self.analyzer.keyed_by_foot

    @property
    def unit(self) -> Asset:
        """The unit under test. Raises UsageError where nobody says which one it is."""
        return named_unit(self.asset, self.name)

    @cached_property
    def readings_told_by(self) -> str | None:
        """Name of who types the readings; None where they come over a line."""
        return self.operator.name if self.analyzer.read_by_eye else None

    @cached_property
    def keyed_by(self) -> str | None:
        """Name of who is at the foot switch; None where the analyzer keys the output."""
        return self.operator.name if self.analyzer.keyed_by_foot else None

    @cached_property
    def rf(self) -> RfMonitor:
        """What was last read of RF at this bench."""
        return RfMonitor(self.analyzer, self.clock)


def named_unit(asset: Asset | None, bench: str, advice: str = "") -> Asset:
    """`asset`. Raises UsageError for None: nothing is measured of a unit without a name.

    `advice`: what to do then, where a run takes no tag.
    """
    if asset is None:
        raise UsageError(
            f"Which unit stands at {bench}? Its bench file has no [asset] table.",
            "Nothing was switched on.",
            advice
            or f"Give --asset TAG ('{typed_command('asset list')}' shows them), or add an "
            "[asset] table.",
        )
    return asset
