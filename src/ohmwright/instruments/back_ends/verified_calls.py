"""Questions and settings of a back end that one wrong answer does not falsify."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from random import Random
from typing import TypeVar

import anyio

from ohmwright.instruments.analyzer import Reading
from ohmwright.model.errors import LinkTimeout, ProtocolError, SettingNotTaken, WrongInstrument
from ohmwright.wire.command_set import Verb
from ohmwright.wire.nonces import nonce_pair
from ohmwright.wire.verified_dialogue import SET_AT_MOST, agreed, agreed_reading, same_number

from . import checked
from .base import BackEnd
from .calls import Calls

T = TypeVar("T")
_ANOTHER = "another answer each time"
_TOO_SLOW = "the readings may change faster than they are asked for"


class VerifiedCalls:
    """Calls of one back end: asked until two answers agree, settings read back where they can be.

    `expected`: what the identity must contain; empty where any unit will do.
    """

    def __init__(
        self, back_end: BackEnd, verbs: frozenset[Verb], calls: Calls, expected: str, seed: float
    ) -> None:
        self._back_end, self._calls, self.verbs = back_end, calls, verbs
        self._expected, self._nonces = expected, Random(seed)
        self._identity: str | None = None
        self.within_s = calls.within_s
        self.nonsense = calls.nonsense

    def suspect(self) -> None:
        """Have what is on the line thrown away before the next call."""
        if self._calls.line is not None:
            self._calls.line.suspect()

    async def ask(self, verb: str, check: Callable[[object], T]) -> T:
        """What the method `verb` returns, checked and converted by `check`.

        Where the answer was damaged or missing, it is called once more at once, as a message of a
        command set is sent once more; both calls share the time of one. Raises LinkError,
        ProtocolError.
        """
        end_s = anyio.current_time() + self.within_s
        try:
            return await self._asked(verb, check, self.within_s)
        except (LinkTimeout, ProtocolError):
            left_s = end_s - anyio.current_time()
            if left_s <= 0:
                raise
            self.suspect()
        return await self._asked(verb, check, left_s)

    async def _asked(self, verb: str, check: Callable[[object], T], within_s: float) -> T:
        method = getattr(self._back_end, verb)
        return self._checked(verb, check, await self._calls.call(verb, method, within_s=within_s))

    async def agreed(self, verb: str, check: Callable[[object], T]) -> T:
        """What two answers in a row agree on."""
        said = await agreed(partial(self.ask, verb, check))
        if said is None:
            raise self.nonsense(verb, _ANOTHER)
        return said

    async def reading(self, verb: str) -> Reading:
        """A reading; one with a number is asked for until two agree."""
        first: Reading = await self.ask(verb, checked.reading)
        if first.number is None:
            return first
        ask = partial(self.ask, verb, checked.reading)
        said = await agreed_reading(ask, lambda read: (read.current_ma, read.number), first)
        if said is None:
            raise self.nonsense(verb, f"{_ANOTHER}: {_TOO_SLOW}")
        return said

    async def tell(self, verb: str, *arguments: object) -> None:
        """Call the method `verb` once."""
        await self._calls.call(verb, getattr(self._back_end, verb), *arguments)

    async def identify(self) -> str:
        """The identity, over a line proved by two echoed numbers where the back end has an echo.

        Raises WrongInstrument where it is not the one expected, ProtocolError where it has changed.
        """
        await self._prove_line()
        identity = await self.agreed("identify", checked.text)
        if self._expected not in identity:
            raise WrongInstrument(
                f"{self._calls.name} is '{identity}'; the bench file wants '{self._expected}' "
                "in it.",
                "Another instrument answers. Nothing was switched on.",
                "Connect the right one, or correct 'identity' in the bench file.",
            )
        if identity != (self._identity or identity):
            raise ProtocolError(
                f"{self._calls.name} is now '{identity}', not '{self._identity}'.",
                "Another instrument answers, or the line distorts what is said.",
                "Check the cabling, then run again.",
            )
        self._identity = identity
        return identity

    async def _prove_line(self) -> None:
        if "resynchronise" not in self.verbs:
            return
        for nonce in nonce_pair(self._nonces):
            back = await self._calls.call("resynchronise", self._back_end.resynchronise, nonce)
            if self._checked("resynchronise", checked.count, back) != nonce:
                raise self.nonsense("resynchronise", f"{back} came back for {nonce}")

    async def set_number(self, verb: Verb, back: Verb, value: float) -> None:
        """Set a number; return once it reads back but for rounding, where `back` can be asked."""
        await self._set(verb, back, value, checked.number, lambda read: same_number(read, value))

    async def set_count(self, verb: Verb, back: Verb, value: int) -> None:
        """Set a whole number; return once it reads back exactly, where `back` can be asked."""
        await self._set(verb, back, value, checked.count, lambda read: read == value)

    async def set_text(self, verb: Verb, back: Verb, value: str) -> None:
        """Set a name; return once it reads back, where `back` can be asked."""
        await self._set(verb, back, value, checked.text, lambda read: read == value)

    async def other_name(self, back: Verb, name: str) -> str | None:
        """What `back` answers where it is not `name`; None where it is, or cannot be asked."""
        if back not in self.verbs:
            return None
        read = await self.agreed(back, checked.text)
        return None if read == name else read

    async def other_number(self, back: Verb, value: float) -> str | None:
        """As `other_name`, where it is not `value`, but for rounding."""
        if back not in self.verbs:
            return None
        read = await self.agreed(back, checked.number)
        return None if same_number(read, value) else f"{read:g}"

    async def _set(
        self,
        verb: Verb,
        back: Verb,
        value: object,
        check: Callable[[object], T],
        same: Callable[[T], bool],
    ) -> None:
        read: T | None = None
        for _ in range(SET_AT_MOST):
            await self.tell(verb, value)
            if back not in self.verbs:
                return
            read = await self.agreed(back, check)
            if same(read):
                await self.identify()
                return
        raise SettingNotTaken(
            f"{self._calls.name} was told {verb}({value!r}) and reads back {read!r}.",
            "It is not set as it should be; nothing is measured so.",
            "Check the instrument's data file against its manual, and the cabling.",
        )

    def _checked(self, verb: str, check: Callable[[object], T], answer: object) -> T:
        try:
            return check(answer)
        except ValueError as problem:
            self.suspect()
            raise self.nonsense(verb, str(problem)) from None
