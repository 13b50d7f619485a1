"""The production code made worse, in this process only: the harness must notice."""

from __future__ import annotations

from collections.abc import Callable, Coroutine, Mapping
from math import inf
from typing import Any

import anyio

from ohmwright.engine import release, rested_activation, sampling, unasked_rf
from ohmwright.wire import verified_dialogue
from ohmwright.wire.clock import RealClock
from ohmwright.wire.command_set import Ask, CommandSet
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.frame_layout import FrameLayout
from ohmwright.wire.guard.link import GuardedLink
from ohmwright.wire.verified_dialogue import VerifiedDialogue


def replace(where: object, name: str, worse: object) -> None:
    """Put something worse in the place of what must be there."""
    assert hasattr(where, name), f"{where} has no {name}: nothing would be made worse"
    setattr(where, name, worse)


def _without_shield() -> None:
    async def straight(work: Callable[[], Coroutine[Any, Any, Any]]) -> Any:
        return await work()

    class Bare:
        """Time bounds without a shield."""

        def __getattr__(self, name: str) -> Any:
            return getattr(anyio, name)

        @staticmethod
        def move_on_after(delay_s: float, **_: bool) -> Any:
            return anyio.move_on_after(delay_s)

    replace(release, "anyio", Bare())
    replace(release, "uncancellable", straight)
    replace(unasked_rf, "uncancellable", straight)


def _without_read_back() -> None:
    def cannot_ask(_: CommandSet, __: Ask) -> bool:
        return False

    replace(CommandSet, "can_ask", cannot_ask)


def _without_asking_twice() -> None:
    async def at_its_word(ask: Callable[[], Any], *_: object) -> Any:
        return await ask()

    replace(verified_dialogue, "_believed", at_its_word)


def _without_proof() -> None:
    async def unproven(self: VerifiedDialogue) -> str:
        return await self.text("identify")

    async def no_echo(_: Dialogue) -> None:
        return None

    replace(VerifiedDialogue, "identify", unproven)
    replace(Dialogue, "prove", no_echo)


def _without_looking_again() -> None:
    async def never(_: GuardedLink) -> bool:
        return False

    replace(GuardedLink, "reconnect", never)


def _without_clocks() -> None:
    async def agreed(*_: object) -> None:
        return None

    replace(sampling, "_LEAST_RATE", 0.0)
    replace(sampling, "_MOST_RATE", inf)
    replace(RealClock, "asleep_s", lambda _: 0.0)
    replace(rested_activation, "refuse_other_limit", agreed)


def _without_checksums() -> None:
    def as_it_came(_: FrameLayout, __: bytes, ___: Mapping[str, bytes]) -> bool:
        return True

    replace(FrameLayout, "_is_checksum", as_it_came)


MUTATIONS: dict[str, Callable[[], None]] = {
    "shield": _without_shield,
    "read-back": _without_read_back,
    "asking-twice": _without_asking_twice,
    "proof": _without_proof,
    "found-again": _without_looking_again,
    "clocks": _without_clocks,
    "checksums": _without_checksums,
}
