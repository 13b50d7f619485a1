"""The proof, before an unattended run, that OFF, limit and guard each end an activation."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable, Iterator
from typing import NamedTuple

from ohmwright.instruments.analyzer import Analyzer
from ohmwright.instruments.conformance_kit import LIMIT_S, ConformanceCheck, off_limit_s
from ohmwright.instruments.conformance_on import (
    ends_an_activation_by_itself,
    guard_opens_the_output,
    off_opens_the_output,
)
from ohmwright.model.errors import OutOfCapability
from ohmwright.model.event import Event, ProtectionProved
from ohmwright.model.hardware import MeterData

from .activation_events import activation_closed, activation_opened
from .low_output import LowOutput
from .session import Session


class _Proof(NamedTuple):
    """One way in which an activation must end, and how that is tried."""

    check: ConformanceCheck
    limit_s: Callable[[MeterData], float]
    """The limit in s to be sent with ON, by the meter that looks on."""
    what: str
    means: str
    """What follows where it was not seen, for a person."""


_OFF = _Proof(
    off_opens_the_output,
    off_limit_s,
    "OFF opens the output",
    "Nothing but its own limit would end an activation.",
)
_LIMIT = _Proof(
    ends_an_activation_by_itself,
    lambda _: LIMIT_S,
    "the limit sent with ON ends an activation",
    "Without that limit nobody may leave the bench.",
)
_GUARD = _Proof(
    guard_opens_the_output,
    off_limit_s,
    "the guard's OFF opens the output",
    "Nothing would switch off if this program were killed or held up.",
)


async def protection_self_test(session: Session, low: LowOutput) -> AsyncIterator[Event]:
    """Switch RF on briefly at low power, and check that OFF, limit and guard each end it.

    A limit or guard that the bench does not have is not tried. Raises OutOfCapability where one
    does not end the activation; RF is then switched off and read back as off.
    """
    analyzer = session.bench.analyzer
    kit, setting_w = low
    for proof in _proofs(analyzer):
        before_s, limit_s = session.on_s, proof.limit_s(analyzer.data.meter)
        yield await activation_opened(
            session, load_ohm=kit.load_ohm, limit_s=limit_s, setting_w=setting_w
        )
        problem = (await proof.check(kit)).problem
        on_s = round(session.on_s - before_s, 3)
        yield activation_closed(session)
        if problem is not None:
            raise OutOfCapability(
                f"It was not seen that {proof.what}: {problem}.",
                f"RF was switched off and reads off. {proof.means}",
                f"Check {analyzer.told_in} against its manual, then the analyzer; until then run "
                "attended.",
            )
        yield ProtectionProved(**session.stamp(), what=proof.what, on_s=on_s)


def _proofs(analyzer: Analyzer) -> Iterator[_Proof]:
    """Yield the proofs that this analyzer needs, by what its command set and port offer."""
    yield _OFF
    if analyzer.sent_limit_s(LIMIT_S) is not None:
        yield _LIMIT
    if analyzer.protections.guard:
        yield _GUARD
