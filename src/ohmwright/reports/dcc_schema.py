"""Validates a digital calibration certificate against the XML schema (XSD) in a file."""

from __future__ import annotations

from pathlib import Path, PurePosixPath
from typing import Any
from urllib.parse import urlsplit

from lxml import etree

from ohmwright.model.errors import SourceError

from .dcc import VERSION


class _Beside(etree.Resolver):  # type: ignore[misc]
    """Reads what a schema imports by a web address from the file of that name in `folder`."""

    def __init__(self, folder: Path) -> None:
        super().__init__()
        self._folder = folder

    def resolve(self, url: str | None, _public_id: str | None, context: Any) -> Any:
        parts = urlsplit(url or "")
        if parts.scheme not in ("http", "https"):
            return None
        return self.resolve_filename(str(self._folder / PurePosixPath(parts.path).name), context)


def check_schema(document: bytes, schema_file: Path) -> None:
    """Raise SourceError where `document` is not valid against the schema (XSD) in `schema_file`.

    Nothing is fetched: PTB's schema imports others by their web addresses, which are read from
    files of these names beside it.
    """
    safe = etree.XMLParser(no_network=True, resolve_entities=False)
    safe.resolvers.add(_Beside(schema_file.parent))
    try:
        schema = etree.XMLSchema(etree.parse(schema_file, safe))
    except (OSError, etree.Error) as problem:
        raise SourceError(
            f"{schema_file}: this is no usable XML schema: {problem}.",
            do="Give the dcc.xsd of PTB, with SI_Format.xsd, quantitykind.xsd and "
            "xmldsig-core-schema.xsd, which it imports, as files of these names beside it.",
        ) from None
    if not schema.validate(etree.fromstring(document, safe)):
        first = schema.error_log[0]
        raise SourceError(
            f"The digital certificate does not follow {schema_file}: {first.message}",
            f"The certificate is written for version {VERSION} of the schema.",
            f"Give the schema of version {VERSION}.",
        )
