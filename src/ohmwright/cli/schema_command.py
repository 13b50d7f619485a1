"""The command `schema`: JSON Schemas of the data files, for editors that check them."""

from __future__ import annotations

import json
from pathlib import Path

from ohmwright.model.errors import UsageError
from ohmwright.model.event import EVENTS

from .console import out
from .schema_documents import file_schemas


def write_schemas(folder: Path) -> int:
    """Write a schema for each kind of file into `folder`; return 0. Raises UsageError."""
    schemas = {**file_schemas(), "event": EVENTS.json_schema()}
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
