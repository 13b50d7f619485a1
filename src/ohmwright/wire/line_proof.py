"""What shows that a line is in step and carries each byte, and what that cannot find; as data."""

from __future__ import annotations

from typing import Literal, NamedTuple

from .command_set import CommandSet
from .exchange import Exchange
from .verbs import Ask

ProofName = Literal["nonce", "echo", "checksum", "unlike questions", "silence", "identity"]


class LineProof(NamedTuple):
    """One proof of a line, with what it finds and what passes it."""

    name: ProofName
    how: str
    finds: tuple[str, ...]
    misses: tuple[str, ...]
    keeps_step: bool
    """Whether it shows that a reply belongs to the message before it."""
    proves_bytes: bool
    """Whether it shows that bytes arrive as they were sent."""


_BEHIND = "a reply that belongs to an earlier message"
_STUCK = "a bit that is stuck on the line"
_IN_REPLY = "a byte changed once in a reply"
_IN_MESSAGE = "a byte changed once in a message"
_LOST = "a message or a reply that was lost"
_OTHER = "another instrument that answers from some message on"
PROOFS: dict[ProofName, LineProof] = {
    proof.name: proof
    for proof in (
        LineProof(
            "nonce",
            "numbers that nobody could guess are sent and come back",
            (_BEHIND, _STUCK, _LOST),
            (_IN_REPLY + ", unless replies are numbered and asked for twice", _OTHER),
            keeps_step=True,
            proves_bytes=True,
        ),
        LineProof(
            "echo",
            "each message comes back before its answer, and is compared",
            (_BEHIND, _IN_MESSAGE, _STUCK, _LOST),
            (_IN_REPLY, _OTHER),
            keeps_step=True,
            proves_bytes=True,
        ),
        LineProof(
            "checksum",
            "each reply carries a checksum of its bytes",
            (_IN_REPLY, _STUCK, _LOST),
            (_BEHIND, _OTHER, "changes that leave an 8-bit checksum as it was: one in 256"),
            keeps_step=False,
            proves_bytes=True,
        ),
        LineProof(
            "unlike questions",
            "two questions are asked in turn whose replies have unlike forms; then silence",
            (_BEHIND, _LOST),
            (_IN_REPLY, _IN_MESSAGE, _STUCK, _OTHER),
            keeps_step=True,
            proves_bytes=False,
        ),
        LineProof(
            "silence",
            "the stream is stopped, nothing comes for a while, and it is started again",
            (_BEHIND, _LOST),
            (_IN_REPLY, _STUCK, _OTHER),
            keeps_step=True,
            proves_bytes=False,
        ),
        LineProof(
            "identity",
            "the instrument is asked who it is before and after all that is recorded",
            (_OTHER,),
            (_BEHIND, _IN_REPLY, _IN_MESSAGE, "another unit that answers from the first message"),
            keeps_step=False,
            proves_bytes=False,
        ),
    )
}
"""Every proof that a command set may give."""


def proofs_of(commands: CommandSet) -> tuple[LineProof, ...]:
    """The proofs that `commands` give, the strongest first."""
    had: dict[ProofName, bool] = {
        "nonce": commands.can_ask("resynchronise"),
        "echo": commands.echo,
        "checksum": bool(commands.frames[1].checksum),
        "unlike questions": unlike_questions(commands) is not None,
        "silence": commands.compiled.stream_stop is not None,
        "identity": commands.can_ask("identify"),
    }
    return tuple(PROOFS[name] for name, has in had.items() if has)


def is_proved(commands: CommandSet) -> bool:
    """Whether replies are shown to belong to their messages and bytes to arrive as sent."""
    proofs = proofs_of(commands)
    return any(proof.keeps_step for proof in proofs) and any(p.proves_bytes for p in proofs)


def unlike_questions(commands: CommandSet) -> tuple[Exchange, Exchange] | None:
    """Two questions of which the second takes no reply of the first; None without such two."""
    verbs: tuple[Ask, ...] = ("identify", "state", "load", "mode", "power", "service", "path")
    asked = [commands.exchange(verb) for verb in verbs if verb in commands.ask]
    pairs = [(one, two) for one in asked for two in asked if one is not two]
    both_ways = (pair for pair in pairs if _unlike(*pair) and _unlike(*reversed(pair)))
    return next(both_ways, next((pair for pair in pairs if _unlike(*pair)), None))


def _unlike(one: Exchange, two: Exchange) -> bool:
    """Whether no reply to `one` has the form of a reply to `two`, judging by samples."""
    return not any(two.fits(text.sample()) for text in one.replies)
