"""A paper of tables and pictures, as PDF and HTML: one text for both."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from html import escape
from typing import Any

from .typesetting import TEMPLATES, typeset

_CSS = TEMPLATES / "tables.css"


@dataclass(frozen=True)
class PaperTable:
    """A table under a heading; `figures`: how many of the last columns are set to the right."""

    heading: str
    note: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    figures: int = 0
    empty: str = "None."
    """What stands there where there are no rows."""


@dataclass(frozen=True)
class PaperPicture:
    """A picture as SVG, and what it shows in words for who does not see it."""

    heading: str
    svg: str
    alt: str


@dataclass(frozen=True)
class TablePaper:
    """A whole paper; all texts are printable."""

    title: str
    subtitle: str
    simulated: str
    """What a paper of simulated units says of that; empty for real ones."""
    facts: tuple[tuple[str, str], ...]
    tables: tuple[PaperTable, ...]
    pictures: tuple[PaperPicture, ...]
    notes: tuple[str, ...]
    made_from: str = ""
    """Of which state of the records it was made, at the foot of each page; empty for none."""

    def pdf(self, at: datetime) -> bytes:
        """The bytes of the PDF, dated `at`."""
        return typeset(TEMPLATES / "tables.typ", self._document(at), at=at)

    def html(self) -> str:
        """The whole page: no script, nothing fetched, every text escaped."""
        css = _CSS.read_text(encoding="utf-8")
        digest = b64encode(sha256(css.encode()).digest()).decode()
        policy = (
            f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; base-uri 'none'; "
            "form-action 'none'"
        )
        return "\n".join(
            (
                '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
                f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
                '<meta name="viewport" content="width=device-width, initial-scale=1">',
                f"<title>{escape(self.title)}</title>\n<style>{css}</style>\n</head>\n<body>",
                *self._body(),
                "</body>\n</html>\n",
            )
        )

    def _document(self, at: datetime) -> dict[str, Any]:
        return {
            "title": self.title,
            "subtitle": self.subtitle,
            "simulated": self.simulated,
            "issued": f"{at:%Y-%m-%d}",
            "facts": [list(fact) for fact in self.facts],
            "tables": [
                {
                    "heading": table.heading,
                    "note": table.note,
                    "columns": list(table.columns),
                    "rows": [list(row) for row in table.rows],
                    "figures": table.figures,
                    "empty": table.empty,
                }
                for table in self.tables
            ],
            "pictures": [
                {"heading": picture.heading, "svg": picture.svg, "alt": picture.alt}
                for picture in self.pictures
            ],
            "notes": list(self.notes),
            "made_from": self.made_from,
        }

    def _body(self) -> Iterable[str]:
        yield f"<header><h1>{escape(self.title)}</h1><p>{escape(self.subtitle)}</p></header>"
        if self.simulated:
            yield f'<p class="simulated"><b>SIMULATED.</b> {escape(self.simulated)}</p>'
        facts = "".join(f"<dt>{escape(k)}</dt><dd>{_isolated(v)}</dd>" for k, v in self.facts)
        yield f"<dl>{facts}</dl>"
        yield from map(_table, self.tables)
        yield from map(_picture, self.pictures)
        yield f"<h2>Notes</h2><ul>{''.join(f'<li>{escape(note)}</li>' for note in self.notes)}</ul>"
        if self.made_from:
            yield f'<footer class="faint">{escape(self.made_from)}</footer>'


def _isolated(text: str) -> str:
    """Escaped text that keeps its writing direction to itself."""
    return f"<bdi>{escape(text)}</bdi>"


def _table(table: PaperTable) -> str:
    heading = f"<h2>{escape(table.heading)}</h2>"
    note = f'<p class="faint">{escape(table.note)}</p>' if table.note else ""
    if not table.rows:
        return f"{heading}{note}<p>{escape(table.empty)}</p>"
    begin = len(table.columns) - table.figures
    kinds = ["" if index < begin else ' class="figure"' for index in range(len(table.columns))]
    head = "".join(
        f"<th{kind}>{escape(name)}</th>" for kind, name in zip(kinds, table.columns, strict=True)
    )
    rows = "".join(
        "<tr>"
        + "".join(
            f'<td{kind} data-column="{escape(name)}">{_isolated(cell)}</td>'
            for kind, name, cell in zip(kinds, table.columns, row, strict=True)
        )
        + "</tr>"
        for row in table.rows
    )
    body = f"<table><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
    return f'{heading}{note}<div class="wide">{body}</div>'


def _picture(picture: PaperPicture) -> str:
    content = b64encode(picture.svg.encode()).decode()
    return (
        f'<figure><figcaption>{escape(picture.heading)}</figcaption><img alt="'
        f'{escape(picture.alt)}" src="data:image/svg+xml;base64,{content}"></figure>'
    )
