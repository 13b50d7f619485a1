"""The certificate as one HTML file: no script, nothing fetched, every word escaped."""

from __future__ import annotations

import re
from base64 import b64encode
from collections.abc import Iterable
from hashlib import sha256
from html import escape
from pathlib import Path

from .certificate_text import CertificateText, CurvePicture, PointRow, ResultCells, StepGroup
from .details import Details

_CSS = Path(__file__).parent / "templates" / "certificate.css"
_STAGES = {"as_found": "As found", "as_left": "As left"}


def certificate_html(sheet: CertificateText) -> str:
    """The whole page. Its policy forbids scripts, loading and any style but its one sheet."""
    css = _CSS.read_text(encoding="utf-8")
    policy = (
        f"default-src 'none'; style-src 'sha256-{_sha256(css)}'; base-uri 'none'; "
        "form-action 'none'"
    )
    title = escape(f"{sheet.title} {sheet.number}")
    return "\n".join(
        (
            '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{title}</title>\n<style>{css}</style>\n</head>\n<body>",
            *_body(sheet),
            "</body>\n</html>\n",
        )
    )


def _sha256(css: str) -> str:
    return b64encode(sha256(css.encode()).digest()).decode()


def _said(text: str) -> str:
    """Text that keeps its own direction of writing to itself."""
    return f"<bdi>{escape(text)}</bdi>"


def _body(sheet: CertificateText) -> Iterable[str]:
    yield (
        f"<header><div><h1>{escape(sheet.title)}</h1>"
        f'<p class="faint">Number {_said(sheet.number)}</p></div>'
        f'<div class="result"><span class="faint">Result, {escape(sheet.issued)}</span>'
        f"{_verdict(sheet.verdict, 'b')}</div></header>"
    )
    if sheet.simulated:
        yield '<div class="watermark" aria-hidden="true"><span>SIMULATED</span></div>'
        yield f'<p class="simulated"><b>SIMULATED.</b> {escape(sheet.simulated)}</p>'
    if sheet.verdict_found and sheet.verdict_left:
        found, left = _verdict(sheet.verdict_found, "b"), _verdict(sheet.verdict_left, "b")
        yield f"<p>As found: {found} &emsp; As left: {left}</p>"
    yield '<div class="facts">'
    yield from (_facts(name, facts) for name, facts in sheet.facts)
    yield "</div>"
    if sheet.groups:
        yield from _measured(sheet)
    if sheet.adjustments:
        yield from _adjusted(sheet)
    yield from _list("Points that did not pass, and what is said of others", sheet.reasons)
    yield from _list("Interruptions", sheet.interruptions)
    yield from _list("Remarks", sheet.remarks)
    if sheet.pictures:
        yield '<h2>Power curves</h2><div class="curves">'
        yield from (_figure(n, picture) for n, picture in enumerate(sheet.pictures))
        yield "</div>"
    yield from _list("Decision and meaning", (*_rules(sheet), *sheet.notes))
    yield from _list("What protected this bench", sheet.protections)
    yield from _documents(sheet.documents)
    yield from _list("Cautions", sheet.cautions)
    yield '<div class="signatures"><p>Carried out by, date</p><p>Approved by, date</p></div>'
    if sheet.head:
        yield f"<footer>Record <code>{escape(sheet.head)}</code></footer>"


def _rules(sheet: CertificateText) -> Iterable[str]:
    if sheet.rules:
        yield f"Decision rule: {'; '.join(sheet.rules)}."


def _documents(documents: Iterable[tuple[str, str, str]]) -> Iterable[str]:
    rows = "".join(
        f"<dt>{escape(role)}</dt><dd>{_said(name)} <code>{escape(digest)}</code></dd>"
        for role, name, digest in documents
    )
    if rows:
        yield f'<h2>In the record in full, with SHA-256</h2><dl class="long">{rows}</dl>'


def _facts(name: str, facts: Details) -> str:
    rows = "".join(f"<dt>{escape(label)}</dt><dd>{_said(value)}</dd>" for label, value in facts)
    return f"<section><h2>{escape(name)}</h2><dl>{rows}</dl></section>"


def _list(name: str, items: Iterable[str]) -> Iterable[str]:
    found = "".join(f"<li>{_said(item)}</li>" for item in items)
    if found:
        yield f"<h2>{name}</h2><ul>{found}</ul>"


def _measured(sheet: CertificateText) -> Iterable[str]:
    stages = sheet.stages
    heads = "".join(f'<th class="stage" colspan="4">{_STAGES[stage]}</th>' for stage in stages)
    columns = "<th>Value ± U</th><th>Error %</th><th>P %</th><th></th>" * len(stages)
    yield f'<h2>Measured</h2><div class="wide"><table><thead><tr><th colspan="3"></th>{heads}'
    yield "<th></th></tr><tr><th>Point</th><th>Target</th><th>Limits</th>"
    yield f"{columns}<th>TUR</th></tr></thead>"
    yield from (_group(group, stages) for group in sheet.groups)
    yield "</table></div>"


def _group(group: StepGroup, stages: tuple[str, ...]) -> str:
    rows = "".join(_row(row, stages) for row in group.rows)
    span = 4 + 4 * len(stages)
    head = (
        f'<tr><th colspan="{span}" scope="rowgroup">{_said(group.step)}{_faint(group.at)}</th></tr>'
    )
    return f"<tbody>{head}{rows}</tbody>"


def _row(row: PointRow, stages: tuple[str, ...]) -> str:
    outcomes = {"as_found": row.found, "as_left": row.left}
    last = row.left if row.left.verdict else row.found
    accepted = f"<small>accepted {escape(row.accepted)}</small>" if row.accepted else ""
    limits = f"{row.limits} {row.unit}" if row.limits else f"in {row.unit}" if row.unit else ""
    return (
        f"<tr><td>{_said(row.point)}{_faint(row.at)}</td><td>{escape(row.target)}</td>"
        f"<td>{escape(limits)}{accepted}</td>"
        f"{''.join(_outcome(outcomes[stage]) for stage in stages)}"
        f"<td>{escape(last.ratio)}</td></tr>"
    )


def _outcome(outcome: ResultCells) -> str:
    value = f"{outcome.value} ± {outcome.expanded}" if outcome.expanded else outcome.value
    mark = (
        f"<sup>[{escape(outcome.mark)}]</sup>" if outcome.mark else ""
    )  # bare it copies as a digit
    return (
        f"<td>{escape(value)}{mark}</td><td>{escape(outcome.error)}</td>"
        f"<td>{escape(outcome.probability)}</td>{_verdict(outcome.verdict, 'td')}"
    )


def _faint(words: str) -> str:
    """Words beside a name, in a fainter and smaller type."""
    return f' <span class="beside">{_said(words)}</span>' if words else ""


def _verdict(verdict: str, tag: str) -> str:
    name = verdict.replace(" ", "-")
    text = verdict.upper() if tag == "b" else verdict
    return f'<{tag} class="verdict {escape(name)}">{escape(text)}</{tag}>'


def _adjusted(sheet: CertificateText) -> Iterable[str]:
    yield f'<h2>Adjusted{_faint(sheet.adjusted_at)}</h2><div class="wide"><table><thead>'
    yield "<tr><th>Point</th><th>Load</th>"
    yield "<th>Limits</th><th>Trim, counts</th><th>Moves</th><th>Landed at ± U</th>"
    yield "<th>Error %</th><th>P %</th><th></th><th>TUR</th></tr></thead><tbody>"
    for row in sheet.adjustments:
        cells = (row.load, f"{row.limits} {row.unit}", row.trim, row.moves)
        plain = "".join(f"<td>{escape(cell)}</td>" for cell in cells)
        yield (
            f"<tr><td>{_said(row.point)}{_faint(row.at)}</td>{plain}{_outcome(row.left)}"
            f"<td>{escape(row.left.ratio)}</td></tr>"
        )
    yield "</tbody></table></div>"


def _figure(number: int, picture: CurvePicture) -> str:
    """The drawing in the page, its parts named apart from those of the other drawings."""
    svg = picture.svg[picture.svg.index("<svg") :]
    svg = re.sub(r'(\bid="|href="#|url\(#)', rf"\g<1>p{number}-", svg)
    svg = re.sub(r"<style.*?</style>", "", svg, flags=re.DOTALL)
    svg = re.sub(r'style="([^"]*)"', _attributes, svg)
    label = escape(picture.alt)
    svg = svg.replace("<svg", f'<svg role="img" aria-label="{label}"', 1)
    return f"<figure><figcaption>{_said(picture.title)}</figcaption>{svg}</figure>"


def _attributes(style: re.Match[str]) -> str:
    """A style as the attributes of the same names, which a strict policy lets through."""
    pairs = (part.split(":", 1) for part in style[1].split(";") if part.strip())
    return " ".join(f'{name.strip()}="{value.strip()}"' for name, value in pairs)
