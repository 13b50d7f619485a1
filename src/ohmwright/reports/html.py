"""The certificate as one HTML file: no script, nothing fetched, every text escaped."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable
from hashlib import sha256
from html import escape
from pathlib import Path

from .certificate_text import CertificateText, CurvePicture
from .details import Details
from .result_tables import PointRow, ResultCells, StepGroup

_CSS = Path(__file__).parent / "templates" / "certificate.css"
_STAGES = {"as_found": "As found", "as_left": "As left"}


def certificate_html(sheet: CertificateText) -> str:
    """The whole page. Its policy forbids scripts, loading and any style but its one style sheet."""
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
    """SHA-256 of the style sheet in base64, as a content security policy names it."""
    return b64encode(sha256(css.encode()).digest()).decode()


def _isolated(text: str) -> str:
    """Escaped text that keeps its writing direction to itself."""
    return f"<bdi>{escape(text)}</bdi>"


def _body(sheet: CertificateText) -> Iterable[str]:
    """The elements within the body, in order."""
    yield (
        f"<header><div><h1>{escape(sheet.title)}</h1>"
        f'<p class="faint">Number {_isolated(sheet.number)}</p></div>'
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
    yield from (_detail_block(name, facts) for name, facts in sheet.facts)
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
        yield from map(_figure, sheet.pictures)
        yield "</div>"
    yield from _list("Decision and meaning", (*_rules(sheet), *sheet.notes))
    yield from _list("What protected this bench", sheet.protections)
    yield from _documents(sheet.documents)
    yield from _list("Cautions", sheet.cautions)
    yield '<div class="signatures"><p>Carried out by, date</p><p>Approved by, date</p></div>'
    if sheet.head:
        yield f"<footer>Record <code>{escape(sheet.head)}</code></footer>"


def _rules(sheet: CertificateText) -> Iterable[str]:
    """The sentence that names the decision rules; nothing where there are none."""
    if sheet.rules:
        yield f"Decision rule: {'; '.join(sheet.rules)}."


def _documents(documents: Iterable[tuple[str, str, str]]) -> Iterable[str]:
    """The list of documents in the record, with their SHA-256."""
    rows = "".join(
        f"<dt>{escape(role)}</dt><dd>{_isolated(name)} <code>{escape(digest)}</code></dd>"
        for role, name, digest in documents
    )
    if rows:
        yield f'<h2>In the record in full, with SHA-256</h2><dl class="long">{rows}</dl>'


def _detail_block(name: str, facts: Details) -> str:
    """A block of details under its heading."""
    rows = "".join(f"<dt>{escape(label)}</dt><dd>{_isolated(value)}</dd>" for label, value in facts)
    return f"<section><h2>{escape(name)}</h2><dl>{rows}</dl></section>"


def _list(name: str, items: Iterable[str]) -> Iterable[str]:
    """A heading and a list; nothing where there are no items."""
    found = "".join(f"<li>{_isolated(item)}</li>" for item in items)
    if found:
        yield f"<h2>{name}</h2><ul>{found}</ul>"


def _measured(sheet: CertificateText) -> Iterable[str]:
    """The table of measured points."""
    stages = sheet.stages
    heads = "".join(f'<th class="stage" colspan="4">{_STAGES[stage]}</th>' for stage in stages)
    columns = "<th>Value ± U</th><th>Error %</th><th>P %</th><th></th>" * len(stages)
    yield f'<h2>Measured</h2><div class="wide"><table><thead><tr><th colspan="3"></th>{heads}'
    yield "<th></th></tr><tr><th>Point</th><th>Target</th><th>Limits</th>"
    yield f"{columns}<th>TUR</th></tr></thead>"
    yield from (_group(group, stages) for group in sheet.groups)
    yield "</table></div>"


def _group(group: StepGroup, stages: tuple[str, ...]) -> str:
    """The rows of one step under its name."""
    rows = "".join(_row(row, stages) for row in group.rows)
    span = 4 + 4 * len(stages)
    name = f"{_isolated(group.step)}{_faint(group.at)}"
    head = f'<tr><th colspan="{span}" scope="rowgroup">{name}</th></tr>'
    return f"<tbody>{head}{rows}</tbody>"


def _row(row: PointRow, stages: tuple[str, ...]) -> str:
    """The row of one measured point."""
    outcomes = {"as_found": row.found, "as_left": row.left}
    last = row.left if row.left.verdict else row.found
    accepted = f"<small>accepted {escape(row.accepted)}</small>" if row.accepted else ""
    limits = f"{row.limits} {row.unit}" if row.limits else f"in {row.unit}" if row.unit else ""
    return (
        f"<tr><td>{_isolated(row.point)}{_faint(row.at)}</td><td>{escape(row.target)}</td>"
        f"<td>{escape(limits)}{accepted}</td>"
        f"{''.join(_result_cells(outcomes[stage]) for stage in stages)}"
        f"<td>{escape(last.ratio)}</td></tr>"
    )


def _result_cells(outcome: ResultCells) -> str:
    """The cells of one result: value with uncertainty, error, probability and verdict."""
    value = f"{outcome.value} ± {outcome.expanded}" if outcome.expanded else outcome.value
    # in brackets, since a bare letter or figure would be copied with the value
    mark = f"<sup>[{escape(outcome.mark)}]</sup>" if outcome.mark else ""
    return (
        f"<td>{escape(value)}{mark}</td><td>{escape(outcome.error)}</td>"
        f"<td>{escape(outcome.probability)}</td>{_verdict(outcome.verdict, 'td')}"
    )


def _faint(words: str) -> str:
    """Words beside a name, in a fainter and smaller type; nothing where there are none."""
    return f' <span class="beside">{_isolated(words)}</span>' if words else ""


def _verdict(verdict: str, tag: str) -> str:
    """A verdict in an element `tag`, in capitals where it is bold."""
    name = verdict.replace(" ", "-")
    text = verdict.upper() if tag == "b" else verdict
    return f'<{tag} class="verdict {escape(name)}">{escape(text)}</{tag}>'


def _adjusted(sheet: CertificateText) -> Iterable[str]:
    """The table of adjusted points."""
    yield f'<h2>Adjusted{_faint(sheet.adjusted_at)}</h2><div class="wide"><table><thead>'
    yield "<tr><th>Point</th><th>Load</th>"
    yield "<th>Limits</th><th>Trim, counts</th><th>Moves</th><th>Landed at ± U</th>"
    yield "<th>Error %</th><th>P %</th><th></th><th>TUR</th></tr></thead><tbody>"
    for row in sheet.adjustments:
        cells = (row.load, f"{row.limits} {row.unit}", row.trim, row.moves)
        plain = "".join(f"<td>{escape(cell)}</td>" for cell in cells)
        yield (
            f"<tr><td>{_isolated(row.point)}{_faint(row.at)}</td>{plain}{_result_cells(row.left)}"
            f"<td>{escape(row.left.ratio)}</td></tr>"
        )
    yield "</tbody></table></div>"


def _figure(picture: CurvePicture) -> str:
    """A drawing within the page, with its values in words for who does not see it."""
    svg = picture.svg.replace("<svg", f'<svg role="img" aria-label="{escape(picture.alt)}"', 1)
    return f"<figure><figcaption>{_isolated(picture.title)}</figcaption>{svg}</figure>"
