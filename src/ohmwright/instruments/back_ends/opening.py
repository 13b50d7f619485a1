"""Makes an analyzer or a generator of a back end that was chosen and the line it is given."""

from __future__ import annotations

from typing import Any

from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.wire.clock import Clock
from ohmwright.wire.link import Link

from .analyzer import BackEndAnalyzer
from .base import AnalyzerBackEnd, BackEnd, GeneratorBackEnd
from .calls import Calls
from .chosen import ChosenBackEnd
from .generator import BackEndGenerator
from .line import InstrumentLine
from .release_line import ReleaseLine
from .verified_calls import VerifiedCalls

REPLIES_IN_A_CALL = 4
"""A method's time over that of one reply: silence is told before the method's time is over, and the
question can be asked once more."""


async def opened_analyzer(
    chosen: ChosenBackEnd[AnalyzerBackEnd],
    data: AnalyzerData,
    link: Link | None,
    clock: Clock,
    identity: str,
) -> BackEndAnalyzer:
    """The analyzer that `chosen` works over `link`; None where it has a way of its own.

    Raises LinkError where the back end cannot be made ready.
    """
    calls = _calls(chosen, link, clock)
    back_end = await _made(chosen, calls, data)
    release = None
    if link is not None and calls.line is not None and chosen.release is not None:
        release = ReleaseLine(link, calls.line, chosen.release, clock)
    verified = _verified(back_end, chosen, calls, clock, identity)
    return BackEndAnalyzer(back_end, data, verified, link, release)


async def opened_generator(
    chosen: ChosenBackEnd[GeneratorBackEnd],
    data: GeneratorData,
    link: Link | None,
    clock: Clock,
    identity: str,
) -> BackEndGenerator:
    """The generator that `chosen` works over `link`. Raises LinkError."""
    calls = _calls(chosen, link, clock)
    back_end = await _made(chosen, calls, data)
    return BackEndGenerator(data, _verified(back_end, chosen, calls, clock, identity))


def _calls(chosen: ChosenBackEnd[Any], link: Link | None, clock: Clock) -> Calls:
    within_s = chosen.installed.factory.timeout_s
    line = None if link is None else InstrumentLine(link, clock, within_s / REPLIES_IN_A_CALL)
    return Calls(chosen.installed.name, line, within_s)


async def _made(
    chosen: ChosenBackEnd[Any], calls: Calls, data: AnalyzerData | GeneratorData
) -> Any:
    back_end = await calls.call(
        "__init__", chosen.installed.factory, calls.line, chosen.options, data
    )
    await calls.call("open", back_end.open)
    return back_end


def _verified(
    back_end: BackEnd, chosen: ChosenBackEnd[Any], calls: Calls, clock: Clock, identity: str
) -> VerifiedCalls:
    seed = clock.wall().timestamp()
    return VerifiedCalls(back_end, chosen.verbs, calls, identity, seed)
