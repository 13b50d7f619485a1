"""The proof that a guard sends OFF, the same for every analyzer that a line reaches."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from ohmwright.model.errors import ProtocolError
from ohmwright.wire.link import Link

from .analyzer import Analyzer, GuardProof


async def guard_proof(
    analyzer: Analyzer, link: Link, back_in_step: Callable[[], Awaitable[None]], *, check: str
) -> GuardProof | None:
    """Have the guard of `link` send OFF; whether the output read on before. None without a guard.

    `back_in_step` is awaited before the output is read again; `check` names what a person looks at
    where it still reads on. Raises ProtocolError then, upon which the caller ends RF, and LinkError
    where the guard does not trip.
    """
    closed_before = await analyzer.output_on()
    off_after_s = await link.prove_watchdog()
    if off_after_s is None:
        return None
    await back_in_step()
    if await analyzer.output_on():
        raise ProtocolError(
            "The guard's OFF read back as off to the guard, yet the output reads closed.",
            "Nobody can rely on it; RF is switched off again.",
            f"Check {check}, and the cabling.",
        )
    return GuardProof(closed_before, off_after_s)
