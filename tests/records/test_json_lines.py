"""Events kept as lines: nothing acknowledged is lost, damage is named."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.model.event import StageStarted
from ohmwright.records.json_lines import JsonLinesStore

EVENTS = [
    StageStarted(at=datetime(2026, 1, 5, tzinfo=UTC), bench_s=float(n), stage="as_found")
    for n in range(3)
]


@pytest.fixture
def store(tmp_path: Path) -> JsonLinesStore:
    store = JsonLinesStore(tmp_path / "records")
    for event in EVENTS:
        store.append("run", event)
    return store


def test_events_come_back_as_they_were(store: JsonLinesStore) -> None:
    assert store.events("run") == tuple(EVENTS)
    assert store.run_ids() == ("run",)


def test_a_torn_line_is_left_out_and_then_replaced(store: JsonLinesStore) -> None:
    path = Path(store.place("run"))
    with path.open("ab") as file:
        file.write(b'{"kind": "stage_st')
    assert store.events("run") == tuple(EVENTS)
    store.append("run", EVENTS[0])
    assert store.events("run") == (*EVENTS, EVENTS[0])


def test_a_changed_line_is_named(store: JsonLinesStore) -> None:
    path = Path(store.place("run"))
    path.write_bytes(path.read_bytes().replace(b'"bench_s":1.0', b'"bench_s":"x"'))
    with pytest.raises(RecordError, match=r"run\.jsonl:2: this line is no event"):
        store.events("run")


def test_a_full_or_missing_disk_is_a_record_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(RecordError, match="cannot be written") as caught:
        JsonLinesStore(tmp_path / "file").append("run", EVENTS[0])
    assert caught.value.exit_code == 6


def test_an_unknown_run(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="There is no run 'x'"):
        JsonLinesStore(tmp_path).events("x")
