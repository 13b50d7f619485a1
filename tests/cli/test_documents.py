"""The files that a run went by, written from its record."""

from __future__ import annotations

from pathlib import Path

import pytest

from ohmwright.cli.documents_command import write_documents
from ohmwright.model.document import document
from ohmwright.model.event import DocumentKept
from ohmwright.records.sql_store import open_store
from tests.records.some_events import AT, started


def test_the_code_of_a_back_end_is_written_as_code(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    kept = [
        document("bench", Path("table.toml"), 'name = "Table"\n'),
        document("analyzer back end", Path("stilt"), "class Stilt:\n    pass\n"),
    ]
    with open_store(str(tmp_path / "records"), tmp_path / "key", tmp_path / "witness") as store:
        store.append("one", started("one"))
        for one in kept:
            store.append("one", DocumentKept(at=AT, bench_s=0.5, document=one))
    write_documents("one", tmp_path / "kept", str(tmp_path / "records"))
    names = {path.name: path.read_text() for path in (tmp_path / "kept").iterdir()}
    assert names == {"bench.toml": kept[0].text, "analyzer-back-end.py": kept[1].text}
