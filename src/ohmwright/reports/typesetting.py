"""Typesets a template with typst: data goes in as JSON, never as typst code.

The same data gives the same file. Fonts: typst's own and the DejaVu family that comes with
matplotlib are asked first, so that Latin, Greek, Cyrillic, Armenian, Georgian, Hebrew and Arabic
look alike on every computer. Only for text that they lack are the computer's fonts asked; what
these lack too is shown by its code.
"""

from __future__ import annotations

import json
from base64 import b64decode
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from ohmwright.model.paper import Logo
from ohmwright.model.seen_text import character_code

from .own_pages import own_pages_error, refuse_packages

if TYPE_CHECKING:
    import typst

TEMPLATES = Path(__file__).parent / "templates"
_LAST_RESORT = "lastresort"  # a font that has a box for everything and a letter for nothing
Form = Literal["pdf", "svg", "png"]


@dataclass(frozen=True)
class Picture:
    """A picture in a file: its form (svg, png or jpg) and its bytes."""

    form: str
    content: bytes

    def document(self) -> dict[str, object]:
        """The picture as JSON for a template, its bytes as numbers."""
        return {"format": self.form, "bytes": list(self.content)}


def picture_of(logo: Logo) -> Picture:
    """The picture of a logo as it is kept in a record."""
    return Picture(logo.form, b64decode(logo.base64))


def typeset(
    template: Path,
    document: dict[str, Any],
    *,
    form: Form = "pdf",
    at: datetime | None = None,
    record: str = "",
    own_pages: Path | None = None,
) -> bytes:
    """One file of `template` filled with `document`; a PDF is PDF/A-3b, dated `at`.

    `record` is attached to a PDF. An SVG or PNG is of the first page, a PNG at 600 dots an inch.
    `own_pages`: a file of somebody's own that the template includes, with pictures beside it.
    Raises SourceError where that one cannot be typeset.
    """
    lacking = _lacking(document, shipped_characters())
    lent = _lent_by_system(frozenset(lacking)) if lacking else {}
    unseen = lacking.difference(*lent.values())
    if unseen:
        document = _with_codes(document, unseen)
    document = document | {"families": sorted(lent), "codes": bool(unseen)}
    source = {
        "sheet": json.dumps(document, ensure_ascii=False),
        "record": record,
        "own-pages": "" if own_pages is None else f"/{own_pages.name}",
    }
    return _compiled(template, source, form, at, own_pages, system=bool(lent))


def _compiled(
    template: Path,
    source: dict[str, str],
    form: Form,
    at: datetime | None,
    own_pages: Path | None,
    *,
    system: bool,
) -> bytes:
    """The bytes that typst makes of a template; it may read the folder of own pages, no other."""
    import typst

    if own_pages is not None:
        refuse_packages(own_pages)
    try:
        compiled = typst.compile(  # type: ignore[type-var]  # its stubs want input and root alike
            template.read_bytes(),
            root=(own_pages or template).parent,
            format=form,
            ppi=600.0,
            sys_inputs=source,
            font_paths=_fonts(system=system),
            pdf_standards=["a-3b"] if form == "pdf" else [],
            timestamp=None if at is None else at.replace(microsecond=0),
        )
    except typst.TypstError as problem:
        if own_pages is None:
            raise
        raise own_pages_error(own_pages, problem) from None
    pages = compiled if isinstance(compiled, list) else [compiled]
    return bytes(pages[0] or b"")


@cache
def _fonts(*, system: bool) -> typst.Fonts:
    """The fonts that typst may use, with those of this computer where `system` is set."""
    import typst

    return typst.Fonts(
        include_system_fonts=system, include_embedded_fonts=True, font_paths=[str(_dejavu())]
    )


def _dejavu() -> Path:
    """The folder of the DejaVu fonts that come with matplotlib."""
    found = find_spec("matplotlib")  # which takes half a second to import
    if found is None or found.origin is None:
        said = "matplotlib, whose fonts the papers are set in"
        raise ModuleNotFoundError(said, name="matplotlib")
    return Path(found.origin).parent / "mpl-data" / "fonts" / "ttf"


@cache
def shipped_characters() -> frozenset[str]:
    """Every character that the fonts of our own dependencies have."""
    return _characters_of(str(_dejavu() / "DejaVuSans.ttf"), -1)


@cache
def _lent_by_system(wanted: frozenset[str]) -> dict[str, frozenset[str]]:
    """Font families of this computer that have characters of `wanted`, and which each has."""
    lent: dict[str, frozenset[str]] = {}
    missing = set(wanted)
    for info in sorted(_fonts(system=True).fonts(), key=lambda info: (info.family, info.index)):
        if not missing:
            break
        if info.path is None or _LAST_RESORT in info.family.lower().replace(" ", ""):
            continue
        found = missing & _characters_of(info.path, info.index)
        if found:
            lent[info.family] = lent.get(info.family, frozenset()) | found
            missing -= found
    return lent


def _characters_of(path: str, index: int) -> frozenset[str]:
    """The characters of a font; none of one that cannot be read."""
    from fontTools.ttLib import TTFont, TTLibError

    try:
        with TTFont(path, fontNumber=index, lazy=True) as font:
            return frozenset(map(chr, font.getBestCmap() or ()))
    except (OSError, TTLibError):
        return frozenset()


def _strings(document: Any) -> Iterator[str]:
    """Yield every text in nested dictionaries and lists."""
    if isinstance(document, str):
        yield document
    elif isinstance(document, dict):
        for value in document.values():
            yield from _strings(value)
    elif isinstance(document, list | tuple):
        for value in document:
            yield from _strings(value)


def _lacking(document: Any, known: frozenset[str]) -> set[str]:
    """The characters of a document that are not in `known`, spaces left out."""
    used = set().union(*map(set, _strings(document)))
    return {char for char in used - known if not char.isspace()}


def _with_codes(document: Any, unseen: set[str]) -> Any:
    """The document with the characters `unseen` shown by their codes."""
    if isinstance(document, str):
        return "".join(character_code(char) if char in unseen else char for char in document)
    if isinstance(document, dict):
        return {key: _with_codes(value, unseen) for key, value in document.items()}
    if isinstance(document, list | tuple):
        return [_with_codes(value, unseen) for value in document]
    return document
