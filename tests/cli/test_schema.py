"""JSON Schemas of the files: each key described, what the loader requires required."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ohmwright.cli.schema_documents import file_schemas
from ohmwright.instruments.required_messages import GENERATOR
from ohmwright.model.bench_file import BenchFile
from ohmwright.model.by_hand import WITHOUT_LINK
from ohmwright.model.errors import SourceError
from ohmwright.model.source import parse
from ohmwright.wire.command_set import CommandSet

SCHEMAS = file_schemas()


def _keys(part: Any, where: str) -> Iterator[tuple[str, Any]]:
    """Every key that a file may have, with what the schema says of it."""
    if isinstance(part, dict):
        for name, inside in part.get("$defs", {}).items():
            yield from _keys(inside, name)
        for key, of_key in part.get("properties", {}).items():
            yield f"{where}.{key}", of_key
            yield from _keys(of_key, f"{where}.{key}")


@pytest.mark.parametrize("kind", SCHEMAS)
def test_every_key_is_described(kind: str) -> None:
    described = dict(_keys(SCHEMAS[kind], kind))
    whole = {f"{kind}.data"}  # the table that such a file is
    assert len(described) > 8
    assert {key for key, of_key in described.items() if not of_key.get("description")} <= whole


def test_a_data_file_is_its_table_data() -> None:
    for kind in ("analyzer-data", "generator-data"):
        assert SCHEMAS[kind]["required"] == ["data"]
        assert {"maker", "model"} <= set(SCHEMAS[kind]["properties"]["data"]["required"])


def test_what_an_analyzer_is_reached_by_is_required_as_the_loader_requires_it() -> None:
    entry = SCHEMAS["bench"]["$defs"]["AnalyzerEntry"]
    by_link, by_hand = entry["anyOf"]
    assert by_link == {"required": ["link"]}
    verbs = [rule["contains"]["const"] for rule in by_hand["properties"]["by_hand"]["allOf"]]
    assert verbs == list(WITHOUT_LINK)
    for missing in ("", *WITHOUT_LINK):
        said = [verb for verb in verbs if verb not in ("", missing)]
        text = (
            'name = "b"\nasset = { id = "x", maker = "x", model = "x", serial = "x" }\n'
            f'[analyzer]\ndata = "x"\nby_hand = {said}\n[generator]\ndata = "x"\n'
        )
        if missing:
            with pytest.raises(SourceError, match=missing):
                parse(Path("bench.toml"), text, BenchFile)
        else:
            parse(Path("bench.toml"), text, BenchFile)


def test_messages_are_keys_of_their_own_and_both_formats_keep_theirs() -> None:
    schema = SCHEMAS["command-set"]
    ask = schema["properties"]["ask"]
    assert ask["required"] == list(GENERATOR)  # every instrument needs that, and by hand no other
    assert not ask["additionalProperties"]
    assert "state" in ask["properties"]
    of_1, of_2 = schema["else"]["properties"], schema["then"]["properties"]
    assert of_1["ask"] == {"required": ["resynchronise"]}
    assert {*of_1, *of_2} <= {*CommandSet.model_fields}
    assert of_2["terminator"] is of_1["stream"] is False
