"""The operator's key: made once, for its owner alone."""

import stat
from datetime import UTC, datetime
from pathlib import Path

import pytest

from ohmwright.model.errors import RecordError
from ohmwright.records.keys import OperatorKey
from ohmwright.records.seal import fingerprint

AT = datetime(2026, 1, 5, tzinfo=UTC)


def test_a_key_is_made_once_and_signs(tmp_path: Path) -> None:
    path = tmp_path / "config" / "operator.key"
    first = OperatorKey(path)
    seal = first.seal("run", 3, b"h" * 32, "Áda", AT)
    assert seal.holds()
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert OperatorKey(path).public == first.public
    assert seal.fingerprint == fingerprint(first.public)
    assert list(path.parent.iterdir()) == [path]


@pytest.mark.parametrize(
    "change",
    [{"events": 4}, {"head": "00"}, {"run": "x"}, {"operator": "Eve"}, {"key": "00" * 32}],
)
def test_a_changed_statement_does_not_hold(tmp_path: Path, change: dict[str, object]) -> None:
    seal = OperatorKey(tmp_path / "key").seal("run", 3, b"h" * 32, "Áda", AT)
    changed = seal.model_copy(update={"statement": seal.statement.model_copy(update=change)})
    assert not changed.holds()


def test_a_key_that_others_can_read_is_refused(tmp_path: Path) -> None:
    OperatorKey(tmp_path / "key").load()
    (tmp_path / "key").chmod(0o644)
    with pytest.raises(RecordError, match="chmod 600"):
        OperatorKey(tmp_path / "key").load()


def test_a_damaged_key_is_refused(tmp_path: Path) -> None:
    (tmp_path / "key").write_text("no key")
    (tmp_path / "key").chmod(0o600)
    with pytest.raises(RecordError, match="cannot be used"):
        OperatorKey(tmp_path / "key").load()
