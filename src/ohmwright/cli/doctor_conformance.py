"""The conformance kit's part of the command `doctor`: each check with what it saw."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from typing import NoReturn

from ohmwright.engine.low_output import low_output
from ohmwright.engine.session import Session
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.conformance import WITH_RF, WITHOUT_RF, observe, title
from ohmwright.instruments.conformance_generator import GENERATOR_CHECKS
from ohmwright.instruments.conformance_kit import ConformanceCheck, Kit, Observed
from ohmwright.instruments.conformance_off import (
    is_off_when_opened,
    joins_every_circuit,
    off_is_idempotent,
    reads_no_current_while_off,
    refuses_a_load_it_has_not,
    sets_every_load,
)
from ohmwright.model.by_hand import HandVerb

from .doctor_finding import LINK, Finding, not_checked
from .rf_lines import RfLines

_BY_HAND: dict[ConformanceCheck, frozenset[HandVerb]] = {
    is_off_when_opened: frozenset({"reading"}),
    reads_no_current_while_off: frozenset({"reading"}),
    sets_every_load: frozenset({"load"}),
    refuses_a_load_it_has_not: frozenset({"load"}),
    joins_every_circuit: frozenset({"path"}),
    off_is_idempotent: frozenset({"foot switch", "reading"}),
}
"""The verbs that a check needs by command: nobody is asked to do them for it."""


async def findings_without_rf(bench: Bench) -> AsyncIterator[Finding]:
    """Yield what each check that switches nothing on has seen."""
    load_ohm = bench.analyzer.data.load_bank.loads_ohm[0]
    kit = Kit(bench.analyzer, bench.clock, _no_activation, load_ohm)
    for check in WITHOUT_RF:
        if not _BY_HAND.get(check, frozenset()) & bench.analyzer.by_hand:
            yield finding_of(check, await observe(check, kit))


async def conformance_findings(bench: Bench, why_not: str | None) -> AsyncIterator[Finding]:
    """Yield what each check saw of the generator's port, and each that keys it at a low setting.

    `why_not`: why RF is not switched on; None where a person has agreed. Raises RfUnsafe
    where RF could not be read back as off, or only its limit ended it.
    """
    async for finding in _generator_findings(bench):
        yield finding
    if why_not is not None:
        for check in WITH_RF:
            yield not_checked(title(check), why_not)
        return
    kit, _ = await low_output(Session(bench, RfLines()))
    for check in WITH_RF:
        yield finding_of(check, await observe(check, kit))


async def _generator_findings(bench: Bench) -> AsyncIterator[Finding]:
    for check in GENERATOR_CHECKS:
        if bench.generator.unattended:
            yield finding_of(check, await observe(check, bench.generator))
        else:
            yield not_checked(title(check), "it has no port")


def finding_of(check: Callable[..., object], seen: Observed) -> Finding:
    """Return what a check of the kit saw, as a finding."""
    return Finding(title(check), seen.state, seen.what, LINK if seen.problem is not None else 0)


def _no_activation(_load_ohm: float, _limit_s: float) -> NoReturn:
    raise AssertionError("these checks switch nothing on")
