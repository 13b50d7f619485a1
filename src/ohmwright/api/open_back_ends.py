"""Instruments that back ends from other packages work, opened and closed."""

from __future__ import annotations

from contextlib import AsyncExitStack, suppress

from ohmwright.instruments.back_ends.analyzer import BackEndAnalyzer
from ohmwright.instruments.back_ends.generator import BackEndGenerator
from ohmwright.instruments.back_ends.opening import opened_analyzer, opened_generator
from ohmwright.model.errors import LinkError
from ohmwright.wire.clock import Clock
from ohmwright.wire.link import Link

from .bench_data import BenchData


async def back_end_analyzer(
    data: BenchData, link: Link | None, clock: Clock, stack: AsyncExitStack
) -> BackEndAnalyzer | None:
    """Return the analyzer that a back end works over `link`; None where a command set does."""
    chosen = data.analyzer_back_end
    if chosen is None:
        return None
    identity = data.file.analyzer.identity
    analyzer = await opened_analyzer(chosen, data.analyzer, link, clock, identity)
    stack.push_async_callback(_closed, analyzer)
    return analyzer


async def back_end_generator(
    data: BenchData, link: Link | None, clock: Clock, stack: AsyncExitStack
) -> BackEndGenerator | None:
    """Return the generator that a back end works over `link`; None where none does."""
    chosen = data.generator_back_end
    if chosen is None:
        return None
    identity = data.file.generator.identity
    generator = await opened_generator(chosen, data.generator, link, clock, identity)
    stack.push_async_callback(_closed, generator)
    return generator


async def _closed(instrument: BackEndAnalyzer | BackEndGenerator) -> None:
    """Close the back end; what it says against that changes nothing any more."""
    with suppress(LinkError):
        await instrument.aclose()
