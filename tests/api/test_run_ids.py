"""A run gets a number that no other run has."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from ohmwright.api import jobs
from ohmwright.model.event import Commented
from ohmwright.records.sql_store import SqlStore, open_store

AT = datetime(2026, 1, 5, 9, tzinfo=UTC)


class _StandingClock:
    def wall(self) -> datetime:
        return AT


@pytest.fixture
def drawn(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Have one second last, and these draws come one after the other."""

    def draws(*words: str) -> None:
        left = iter(words)
        monkeypatch.setattr(jobs, "RealClock", _StandingClock)
        monkeypatch.setattr(jobs, "token_hex", lambda _: next(left))
        monkeypatch.setattr(jobs, "_given", set())

    return draws


@pytest.fixture
def store(tmp_path: Path) -> SqlStore:
    return open_store(str(tmp_path / "records"), tmp_path / "operator.key", tmp_path / "witness")


def test_a_number_that_was_given_a_moment_ago_is_drawn_again(
    drawn: Callable[..., None], store: SqlStore
) -> None:
    drawn("aaaa", "aaaa", "bbbb")
    with store:
        first, second = (jobs.new_run_id("HF-1", store) for _ in range(2))
    assert (first, second) == ("20260105T090000Z-HF-1-aaaa", "20260105T090000Z-HF-1-bbbb")


def test_a_number_that_is_on_record_is_drawn_again(
    drawn: Callable[..., None], store: SqlStore
) -> None:
    drawn("aaaa", "bbbb")
    said = Commented(at=AT, bench_s=0.0, words="begun by another program", told_by="somebody")
    with store:
        store.append("20260105T090000Z-HF-1-aaaa", said)
        assert jobs.new_run_id("HF-1", store) == "20260105T090000Z-HF-1-bbbb"
