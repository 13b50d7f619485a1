"""Whom a token admits, how long, and how many stay admitted."""

from ohmwright.page.admission import MOST_SESSIONS, TOKEN_VALID_S, Admission
from ohmwright.wire.clock import VirtualClock


def test_a_token_admits_once_and_in_its_time() -> None:
    clock = VirtualClock()
    admission = Admission(clock)
    late, token = admission.new_token(), admission.new_token(2 * TOKEN_VALID_S)
    clock.advance(TOKEN_VALID_S + 1)
    assert admission.enter(late) is None
    assert admission.enter(token) is not None
    assert admission.enter(token) is None


def test_whoever_was_admitted_stays_so_until_there_are_too_many() -> None:
    admission = Admission(VirtualClock())
    sessions = [admission.enter(admission.new_token()) or "" for _ in range(MOST_SESSIONS)]
    assert all(map(admission.knows, sessions))
    admission.enter(admission.new_token())
    assert [admission.knows(one) for one in sessions] == [False] + [True] * (MOST_SESSIONS - 1)
