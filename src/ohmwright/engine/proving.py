"""Before a run that nobody attends: the analyzer must end an activation by itself."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import AbstractAsyncContextManager

from ohmwright.instruments.conformance import LIMIT_S, Kit, ends_an_activation_by_itself
from ohmwright.model.errors import OutOfCapability
from ohmwright.model.event import ActivationClosed, ActivationOpened, Event
from ohmwright.model.hardware import AnalyzerData, Mode

from .session import Session

_SHARE_OF_FULL = 0.03


async def limit_proof(session: Session) -> AsyncIterator[Event]:
    """Switch RF on for a second at a low setting and see the analyzer end it.

    An analyzer without a limit of its own has nothing to prove. Raises OutOfCapability when the
    output still reads on after the limit; the release that follows is confirmed as ever.
    """
    analyzer, generator = session.bench.analyzer, session.bench.generator
    if analyzer.data.activation.max_limit_s is None:
        return
    mode = generator.data.modes[0]
    load_ohm, setting_w = _nearest_load_ohm(analyzer.data, mode), _low_setting_w(mode)
    await analyzer.set_path("OUTPUT")
    await generator.select(mode.name, setting_w)
    yield ActivationOpened(**session.stamp(), load_ohm=load_ohm, limit_s=LIMIT_S)

    def activate(load_ohm: float, limit_s: float) -> AbstractAsyncContextManager[object]:
        return session.activation(load_ohm=load_ohm, power_w=setting_w, limit_s=limit_s)

    kit = Kit(analyzer, session.bench.clock, activate, load_ohm)
    problem = await ends_an_activation_by_itself(kit)
    yield ActivationClosed(**session.stamp(), on_s=round(session.on_s, 3))
    if problem is not None:
        raise OutOfCapability(
            f"The analyzer did not end an activation at the limit of {LIMIT_S:g} s sent with ON.",
            "It was switched off. Without that limit nobody may leave the bench.",
            "Have the analyzer seen to; until then run attended.",
        )


def _low_setting_w(mode: Mode) -> float:
    return max(1.0, float(round(_SHARE_OF_FULL * mode.max_setting_w)))


def _nearest_load_ohm(data: AnalyzerData, mode: Mode) -> float:
    return min(data.load_bank.loads_ohm, key=lambda ohm: abs(ohm - mode.rated_load_ohm))
