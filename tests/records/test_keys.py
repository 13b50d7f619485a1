"""The operator's key: made once, for its owner alone, and missed when it is gone."""

import stat
from datetime import UTC, datetime
from pathlib import Path

import pytest

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.records.keys import OperatorKey
from ohmwright.records.seal import Seal, fingerprint

AT = datetime(2026, 1, 5, tzinfo=UTC)


@pytest.fixture
def told() -> list[str]:
    return []


@pytest.fixture
def key(tmp_path: Path, told: list[str]) -> OperatorKey:
    return of(tmp_path, told)


def of(folder: Path, told: list[str]) -> OperatorKey:
    """The key of a computer, as a program that has just begun sees it."""
    return OperatorKey(folder / "config" / "operator.key", folder / "state" / "keys", told.append)


def sealed(key: OperatorKey) -> Seal:
    return key.seal("run", 3, b"h" * 32, "Áda", AT)


def test_a_key_is_made_once_said_so_once_and_signs(
    key: OperatorKey, told: list[str], tmp_path: Path
) -> None:
    seal = sealed(key)
    assert seal.is_valid()
    assert stat.S_IMODE(key.path.stat().st_mode) == 0o600
    assert of(tmp_path, told).public == key.public
    assert seal.fingerprint == fingerprint(key.public)
    assert list(key.path.parent.iterdir()) == [key.path]
    (said,) = told
    assert fingerprint(key.public) in said


@pytest.mark.parametrize(
    "change",
    [{"events": 4}, {"head": "00"}, {"run": "x"}, {"operator": "Eve"}, {"key": "00" * 32}],
)
def test_a_changed_statement_does_not_hold(key: OperatorKey, change: dict[str, object]) -> None:
    seal = sealed(key)
    changed = seal.model_copy(update={"statement": seal.statement.model_copy(update=change)})
    assert not changed.is_valid()


def test_a_key_that_others_can_read_is_refused(key: OperatorKey, tmp_path: Path) -> None:
    key.load()
    key.path.chmod(0o644)
    with pytest.raises(RecordError, match="chmod 600"):
        of(tmp_path, []).load()


def test_a_damaged_key_is_refused(key: OperatorKey) -> None:
    key.path.parent.mkdir()
    key.path.write_text("no key")
    key.path.chmod(0o600)
    with pytest.raises(RecordError, match="cannot be used"):
        key.load()


def test_a_lost_key_is_an_error_and_never_replaced(
    key: OperatorKey, told: list[str], tmp_path: Path
) -> None:
    key.load()
    away = key.path.rename(tmp_path / "away.key")
    for _ in range(2):
        later = of(tmp_path, told)
        with pytest.raises(RecordError, match=f"{fingerprint(key.public)}.* is gone"):
            later.load()
        assert later.status().public == key.public
        assert "is gone" in str(later.status().problem)
        assert not later.path.exists()
    away.rename(key.path)
    assert of(tmp_path, told).public == key.public
    assert len(told) == 1


def test_a_new_key_is_made_when_asked_and_the_old_one_stays_ours(
    key: OperatorKey, tmp_path: Path
) -> None:
    key.load()
    with pytest.raises(UsageError, match="there is a key already"):
        of(tmp_path, []).create()
    key.path.unlink()
    new = of(tmp_path, []).create()
    assert new != key.public
    assert of(tmp_path, []).public == new
    assert of(tmp_path, []).own_keys() == {key.public, new}


def test_an_exchanged_key_is_refused_until_it_is_taken_on_purpose(
    key: OperatorKey, tmp_path: Path
) -> None:
    other = of(tmp_path / "elsewhere", [])
    other.load()
    key.load()
    key.path.write_bytes(other.path.read_bytes())
    with pytest.raises(RecordError, match="exchanged") as caught:
        of(tmp_path, []).load()
    assert fingerprint(other.public) in str(caught.value)
    assert of(tmp_path, []).own_keys() == {key.public}
    moved = key.path.rename(tmp_path / "moved")
    assert of(tmp_path, []).create(moved) == other.public
    assert of(tmp_path, []).public == other.public


def test_an_older_key_signs_again_only_where_it_is_taken_on_purpose(
    key: OperatorKey, tmp_path: Path
) -> None:
    """Would notice a key that was given up, as one that is known elsewhere, and signs on."""
    key.load()
    older = key.path.rename(tmp_path / "older")
    of(tmp_path, []).create()
    newer = key.path.rename(tmp_path / "newer")
    key.path.write_bytes(older.read_bytes())
    key.path.chmod(0o600)
    with pytest.raises(RecordError, match="exchanged"):
        of(tmp_path, []).load()
    key.path.unlink()
    assert of(tmp_path, []).create(older) == key.public
    assert of(tmp_path, []).public == key.public
    assert newer.exists()


def test_a_key_of_before_there_was_a_memory_is_ours(key: OperatorKey, tmp_path: Path) -> None:
    key.load()
    key.memory.unlink()
    assert of(tmp_path, []).own_keys() == {key.public}
    assert not key.memory.exists()
    of(tmp_path, []).load()
    assert key.memory.read_text() == f"{key.public}\n"


def test_looking_makes_nothing(key: OperatorKey, tmp_path: Path) -> None:
    assert (key.status().public, key.own_keys()) == (None, frozenset())
    assert list(tmp_path.iterdir()) == []


def test_a_memory_that_makes_no_sense_is_refused(key: OperatorKey, tmp_path: Path) -> None:
    key.load()
    key.memory.write_text("x\n")
    with pytest.raises(RecordError, match="makes no sense"):
        of(tmp_path, []).load()
