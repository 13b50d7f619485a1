"""The production code made worse, in this process only: the harness must notice."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from typing import Any

from ohmwright.engine import release, rested_activation, sampling
from ohmwright.wire.command_set import Ask, CommandSet
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.guard.link import GuardedLink
from ohmwright.wire.verified_dialogue import VerifiedDialogue


def _without_shield() -> None:
    async def straight(work: Callable[[], Coroutine[Any, Any, Any]]) -> Any:
        return await work()

    class Bare:
        """Time bounds without a shield."""

        def __getattr__(self, name: str) -> Any:
            return getattr(_anyio, name)

        @staticmethod
        def move_on_after(delay_s: float, *, shield: bool = False) -> Any:  # noqa: ARG004
            return _anyio.move_on_after(delay_s)

    _anyio = release.anyio
    release.anyio = Bare()
    release.uncancellable = straight


def _without_read_back() -> None:
    def cannot_ask(_: CommandSet, __: Ask) -> bool:
        return False

    CommandSet.can_ask = cannot_ask


def _without_asking_twice() -> None:
    async def at_its_word(_: VerifiedDialogue, ask: Callable[[], Any], __: Ask) -> Any:
        return await ask()

    VerifiedDialogue._agreed = at_its_word


def _without_proof() -> None:
    async def unproven(self: VerifiedDialogue) -> str:
        return await self.text("identify")

    async def no_echo(_: Dialogue) -> None:
        return None

    VerifiedDialogue.identify, Dialogue.echo = unproven, no_echo


def _without_looking_again() -> None:
    async def never(_: GuardedLink) -> bool:
        return False

    GuardedLink.reconnect = never


def _without_clocks() -> None:
    async def agreed(*_: object) -> None:
        return None

    sampling._refuse_sleep = sampling._refuse_gap = lambda *_: None
    rested_activation.refuse_other_limit = agreed


MUTATIONS: dict[str, Callable[[], None]] = {
    "shield": _without_shield,
    "read-back": _without_read_back,
    "asking-twice": _without_asking_twice,
    "proof": _without_proof,
    "found-again": _without_looking_again,
    "clocks": _without_clocks,
}
