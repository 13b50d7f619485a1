"""OFF, sent whatever state the line is in, and what the instrument said to it.

Whether RF is off is read back, and never taken from the answer.
"""

from __future__ import annotations

from contextlib import suppress
from typing import NamedTuple

from ohmwright.model.errors import LinkError, LinkLost, LinkTimeout, ProtocolError

from .command_set import Tell
from .dialogue import Dialogue, LinkState, checked_transition
from .exchange import Exchange, Refused

ANSWER_WITHIN_S = 0.25
"""Longest wait in seconds for the answer to OFF, before it is sent again."""
_ASKED_AT_MOST = 3


class OffAnswer(NamedTuple):
    """The answer to an OFF that was sent."""

    taken: bool | None
    """Whether it says that OFF was done; None where no answer that says so is known."""
    said: str
    """What came instead, for a person; empty where nothing did, or where it was taken."""


NOTHING_TELLS = OffAnswer(None, "")
"""OFF is not acknowledged by this instrument, or none was sent."""


class OffTeller:
    """Sends OFF over one dialogue."""

    def __init__(self, dialogue: Dialogue) -> None:
        self._dialogue = dialogue
        self.answer = NOTHING_TELLS
        """What was said to the last OFF, where the command set has an answer for it."""

    async def tell(self, verb: Tell) -> None:
        """Send `verb`, which is OFF, without regard to the state of the line.

        Even a line thought lost is tried; an unfinished message on it is ended first. An answer is
        awaited for a moment where one is due, so that the next question finds the line in step; it
        proves nothing, and whoever sends OFF reads the state back.
        """
        dialogue, commands = self._dialogue, self._dialogue.commands
        exchange, before = commands.exchange(verb), dialogue.state
        self.answer = NOTHING_TELLS
        message = commands.message(verb, {})
        if before is not LinkState.SYNCED:
            message = await self._end_unfinished(message)
        if before is LinkState.LOST:
            await dialogue.framing.send(message)
            return
        await self._send(message)
        if before is not LinkState.SYNCED:
            await self._send_opened(message)
        elif await self._answered(exchange):
            dialogue.state = checked_transition(dialogue.state, before)
        else:
            # OFF may have been lost; to send it again does no harm
            again = await self._end_unfinished(message)
            if not await self._send_opened(again):
                await self._send(again)

    async def late_s(self, verb: Tell) -> float | None:
        """Seconds that an answer takes where the one to `verb` would be late; None where not.

        Late answers to OFF leave the line out of step: each OFF that is sent again brings another.
        A stream says the state by itself. The least of some questions counts: one may be held up.
        """
        commands, took_s = self._dialogue.commands, list[float]()
        if commands.stream is not None or not (commands.echo or commands.exchange(verb).replies):
            return None
        for _ in range(_ASKED_AT_MOST):
            asked_s = self._dialogue.framing.now_s()
            await self._dialogue.ask("identify")
            took_s.append(self._dialogue.framing.now_s() - asked_s)
            if min(took_s) <= ANSWER_WITHIN_S:
                return None
        return min(took_s)

    async def _answered(self, exchange: Exchange) -> bool:
        """Whether the answer to a message that was just sent is as it should be, or none is due."""
        dialogue, within_s = self._dialogue, min(exchange.timeout_s, ANSWER_WITHIN_S)
        try:
            await dialogue.conversation.hear_answer(exchange, within_s)
        except (LinkTimeout, ProtocolError, ValueError, Refused):
            heard = dialogue.framing.last_heard()
            self.answer = OffAnswer(taken=False, said=_shown(heard, within_s))
            return False
        except LinkLost:
            dialogue.state = checked_transition(dialogue.state, LinkState.LOST)
            raise
        self.answer = OffAnswer(True if exchange.replies else None, "")
        return True

    async def _send_opened(self, message: bytes) -> bool:
        """Send the opening messages and `message`; whether there are any.

        An instrument that has left remote control refuses OFF, as it refuses the rest.
        """
        if not self._dialogue.commands.opening:
            return False
        await self._dialogue.conversation.open_unheard()
        await self._send(message)
        return True

    async def _end_unfinished(self, message: bytes) -> bytes:
        """`message` with the end of an unfinished one before it; sent alone where that needs it."""
        commands = self._dialogue.commands
        end = commands.unfinished_end
        if not commands.pause_s or not end:
            return end + message
        with suppress(LinkError):
            await self._dialogue.framing.send(end)
        return message

    async def _send(self, message: bytes) -> None:
        dialogue = self._dialogue
        dialogue.raise_if_lost()
        dialogue.state = checked_transition(dialogue.state, LinkState.SUSPECT)
        try:
            await dialogue.framing.send(message)
        except LinkLost:
            dialogue.state = checked_transition(dialogue.state, LinkState.LOST)
            raise


def _shown(heard: bytes, within_s: float) -> str:
    return f"{heard[:80]!r}" if heard else f"nothing within {within_s:g} s"
