"""Who may use the page: one-time tokens, and the sessions that they were exchanged for."""

from __future__ import annotations

from hashlib import sha256
from secrets import token_urlsafe

from ohmwright.wire.clock import Clock

from .pacing import Bucket

MOST_TOKENS, MOST_SESSIONS = 8, 16
"""Where there would be more, the oldest is forgotten."""
TOKEN_VALID_S = 600.0
"""How long a token that a page asked for may be used."""


class Admission:
    """Tokens that admit one browser each, and the sessions of those that were admitted.

    Only digests are kept, so that a comparison tells nothing of a secret by its time.
    """

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._tokens: dict[bytes, float] = {}
        self._sessions: dict[bytes, None] = {}
        self._guesses = Bucket(clock, most=10, per_s=0.2)

    def new_token(self, valid_s: float = TOKEN_VALID_S) -> str:
        """Return a token that admits one browser within `valid_s`."""
        token = token_urlsafe(24)
        self._tokens[_digest(token)] = self._clock.now_s() + valid_s
        _drop_oldest(self._tokens, MOST_TOKENS)
        return token

    def enter(self, token: str) -> str | None:
        """Use up `token`; return the secret of a new session, None where it admits nobody."""
        until_s = self._tokens.pop(_digest(token), None)
        if until_s is None or self._clock.now_s() > until_s:
            return None
        session = token_urlsafe(32)
        self._sessions[_digest(session)] = None
        _drop_oldest(self._sessions, MOST_SESSIONS)
        return session

    def may_guess_again(self) -> bool:
        """Count a token that admitted nobody; return False where too many have come lately."""
        return self._guesses.take()

    def knows(self, session: str) -> bool:
        """Whether `session` is the secret of a session."""
        return _digest(session) in self._sessions


def _digest(secret: str) -> bytes:
    return sha256(secret.encode(errors="replace")).digest()


def _drop_oldest(kept: dict[bytes, float] | dict[bytes, None], most: int) -> None:
    while len(kept) > most:
        del kept[next(iter(kept))]
