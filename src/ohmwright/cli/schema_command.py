"""The command `schema`: JSON Schemas of the data files, for editors that check them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from ohmwright.engine.procedure import Procedure
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.bench_file import BenchFile
from ohmwright.model.errors import UsageError
from ohmwright.model.event import EVENTS
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.wire.command_set import CommandSet

from .console import out


def write_schemas(folder: Path) -> int:
    """Write a schema for each kind of file into `folder`; return 0. Raises UsageError."""
    schemas: dict[str, dict[str, Any]] = {
        "procedure": Procedure.model_json_schema(),
        "bench": BenchFile.model_json_schema(),
        "analyzer-data": AnalyzerData.model_json_schema(),
        "generator-data": GeneratorData.model_json_schema(),
        "analyzer-certificate": AnalyzerCertificate.model_json_schema(),
        "command-set": CommandSet.model_json_schema(),
        "event": EVENTS.json_schema(),
    }
    for name, schema in schemas.items():
        path = folder / f"{name}.schema.json"
        try:
            folder.mkdir(parents=True, exist_ok=True)
            path.write_text(json.dumps(schema, indent=2) + "\n", encoding="utf-8")
        except OSError as problem:
            raise UsageError(
                f"{path}: cannot be written: {problem.strerror}.", do="Name another folder."
            ) from None
        out().print(str(path), soft_wrap=True)
    return 0
