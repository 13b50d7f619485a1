"""JSON Schemas of the files that people write: each key described, and required where it must be.

What a key is comes from the guide's tables, which tests hold against the models.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel

from ohmwright.engine.procedure import Procedure
from ohmwright.guide.key_tables import KeyTable, key_tables
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.bench_file import BenchFile
from ohmwright.model.by_hand import WITHOUT_LINK
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.paper import LaboratoryFile
from ohmwright.wire.command_set import CommandSet, keys_of_format

from .new_questions import AnalyzerAnswers, GeneratorAnswers

Schema = dict[str, Any]
_STEPS = ("every step", "steps with RF")
"""The tables of what all steps have."""


def file_schemas() -> dict[str, Schema]:
    """Return the schema of each kind of file, by its name."""
    return {
        "procedure": _described(Procedure),
        "bench": _bench(),
        "analyzer-data": _data_file(AnalyzerData),
        "generator-data": _data_file(GeneratorData),
        "analyzer-certificate": _described(AnalyzerCertificate),
        "command-set": _command_set(),
        "laboratory": _described(LaboratoryFile),
        "new-analyzer-answers": AnalyzerAnswers.model_json_schema(),
        "new-generator-answers": GeneratorAnswers.model_json_schema(),
    }


def _bench() -> Schema:
    schema = _described(BenchFile)
    by_hand = [{"contains": {"const": verb}} for verb in WITHOUT_LINK]
    schema["$defs"]["AnalyzerEntry"]["anyOf"] = [
        {"required": ["link"]},
        {"required": ["by_hand"], "properties": {"by_hand": {"allOf": by_hand}}},
    ]
    return schema


def _data_file(noun: type[AnalyzerData] | type[GeneratorData]) -> Schema:
    """Return the schema of a file whose table `data` is `noun`; simulation has others beside it."""
    data = _described(noun)
    definitions = data.pop("$defs", {})
    data["not"] = {"required": ["command_set", "backend"]}
    data["dependentRequired"] = {"options": ["backend"]}
    if "digitiser" in data["properties"]:
        data["dependentRequired"]["digitiser"] = ["waveform"]
    return {
        "$defs": definitions,
        "type": "object",
        "properties": {"data": data},
        "required": ["data"],
    }


def _command_set() -> Schema:
    schema = _described(CommandSet)
    for kind in ("ask", "tell"):
        messages = schema["properties"][kind]
        one = messages.pop("additionalProperties")
        says = _table(kind).says
        messages["properties"] = {
            verb: {**one, "description": says[verb]}
            for verb in messages.pop("propertyNames")["enum"]
        }
        messages["additionalProperties"] = False
    schema["properties"]["ask"]["required"] = ["identify"]
    of_2 = {"properties": {"format": {"const": 2}}, "required": ["format"]}
    schema["if"], schema["then"] = of_2, {"properties": dict.fromkeys(keys_of_format(1), False)}
    asks = {"ask": {"required": ["resynchronise"]}}
    schema["else"] = {"properties": {**dict.fromkeys(keys_of_format(2), False), **asks}}
    return schema


def _described(noun: type[BaseModel]) -> Schema:
    """Return the schema of `noun`, with what the guide says of every key."""
    schema = noun.model_json_schema()
    for part in (schema, *schema.get("$defs", {}).values()):
        for key, of_key in part.get("properties", {}).items():
            of_key["description"] = _description(part, key)
    return schema


def _description(part: Schema, key: str) -> str:
    keys = set(part["properties"])
    return next(table.says[key] for table in _fitting(part, keys) if key in table.says)


def _fitting(part: Schema, keys: set[str]) -> Iterator[KeyTable]:
    """Yield the tables that may describe an object with `keys`, the best first."""
    tables = key_tables()
    kind = part["properties"].get("kind", part["properties"].get("rule", {})).get("const")
    yield from (table for table in tables if table.says.keys() == keys)
    yield from (table for table in tables if kind is not None and kind in table.heading)
    yield from (table for table in tables if table.heading in _STEPS)


def _table(heading: str) -> KeyTable:
    return next(table for table in key_tables() if table.heading == heading)
