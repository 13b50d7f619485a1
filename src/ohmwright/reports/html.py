"""The certificate as one HTML file: no script, nothing fetched, every text escaped."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable
from hashlib import sha256
from html import escape
from pathlib import Path

from .certificate_text import CertificateText, CurvePicture, Letterhead
from .details import Details
from .result_tables import PointRow, ResultCells, StepGroup
from .typesetting import Picture

_CSS = Path(__file__).parent / "templates" / "certificate.css"
_STAGES = {"as_found": "As found", "as_left": "As left"}
_OUTCOME = ("Value ± U", "Error %", "P %", "Verdict")
"""The columns of one result."""


def certificate_html(sheet: CertificateText, logo: Picture | None = None) -> str:
    """The whole page. Its policy forbids scripts, loading and any style but its one style sheet.

    A logo is part of the page.
    """
    css = _CSS.read_text(encoding="utf-8")
    pictures = "" if logo is None else "img-src data:; "
    policy = (
        f"default-src 'none'; {pictures}style-src 'sha256-{_sha256(css)}'; base-uri 'none'; "
        "form-action 'none'"
    )
    title = escape(f"{sheet.title} {sheet.number}")
    return "\n".join(
        (
            '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">',
            f'<meta http-equiv="Content-Security-Policy" content="{policy}">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            f"<title>{title}</title>\n<style>{css}</style>\n</head>\n<body>",
            *_letterhead(sheet.letterhead, logo),
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


def _letterhead(head: Letterhead, logo: Picture | None) -> Iterable[str]:
    """The laboratory with its logo; nothing where neither is known."""
    if not head.name and logo is None:
        return
    picture = ""
    if logo is not None:
        kind = {"svg": "svg+xml", "jpg": "jpeg"}.get(logo.form, logo.form)
        data = b64encode(logo.content).decode()
        picture = f'<img alt="Logo" src="data:image/{kind};base64,{data}">'
    lines = "".join(f"<br>{_isolated(line)}" for line in head.address)
    yield (
        f'<div class="letterhead">{picture}<p><b>{_isolated(head.name)}</b>{lines}</p>'
        f"<p>{_isolated(head.accreditation)}</p></div>"
    )


def _hash(digest: str) -> str:
    """A hash that may break after every eight digits, and is copied without a gap."""
    parts = (escape(digest[at : at + 8]) for at in range(0, len(digest), 8))
    return f"<code>{'<wbr>'.join(parts)}</code>"


def _body(sheet: CertificateText) -> Iterable[str]:
    """The elements within the body, in order."""
    yield (
        f"<header><div><h1>{escape(sheet.title)}</h1>"
        f'<p class="faint">Number {_isolated(sheet.number)}</p></div>'
        f'<div class="result"><span class="faint">Result of {escape(sheet.done)}</span>'
        f"{'<b>VOID</b>' if sheet.void else _verdict(sheet.verdict)}</div></header>"
    )
    if mark := "VOID" if sheet.void else "SIMULATED" if sheet.simulated else "":
        yield f'<div class="watermark" aria-hidden="true"><span>{mark}</span></div>'
    if sheet.void:
        warning = "<b>VOID. This certificate must not be used.</b>"
        yield f'<p class="void">{warning} {_isolated(sheet.void)}</p>'
    if sheet.simulated:
        yield f'<p class="simulated"><b>SIMULATED.</b> {escape(sheet.simulated)}</p>'
    if sheet.verdict_found and sheet.verdict_left:
        found, left = _verdict(sheet.verdict_found), _verdict(sheet.verdict_left)
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
    yield '<div class="end">'
    yield from _list("Statements and cautions", (*sheet.statements, *sheet.cautions))
    yield from _signatures(sheet)
    yield "</div>"
    if sheet.head:
        yield f"<footer>Record {_hash(sheet.head)}</footer>"


def _signatures(sheet: CertificateText) -> Iterable[str]:
    """Who carried it out and who approved it, or lines to sign on."""
    approvals = "<br>".join(
        f"{_isolated(name)} {escape(at)} <span>key {escape(key)}</span>"
        for name, at, key in sheet.approvals
    )
    how = "Approved by, signed in the record" if approvals else "Approved by; signature, date"
    yield '<div class="signatures">'
    yield (
        f"<div><p>{_isolated(sheet.carried_out_by)}</p><p>Carried out by; signature, date</p></div>"
    )
    yield f"<div><p>{approvals}</p><p>{how}</p></div></div>"


def _rules(sheet: CertificateText) -> Iterable[str]:
    """The sentence that names the decision rules; nothing where there are none."""
    if sheet.rules:
        yield f"Decision rule: {'; '.join(sheet.rules)}."


def _documents(documents: Iterable[tuple[str, str, str]]) -> Iterable[str]:
    """The list of documents in the record, with their SHA-256."""
    rows = "".join(
        f"<dt>{escape(role)}</dt><dd>{_isolated(name)} {_hash(digest)}</dd>"
        for role, name, digest in documents
    )
    if rows:
        yield f'<h2>In the record in full, with SHA-256</h2><dl class="long">{rows}</dl>'


def _detail_block(name: str, facts: Details) -> str:
    """A block of details under its heading."""
    rows = "".join(
        f"<dt>{escape(label)}</dt>"
        f"<dd>{_hash(value) if label == 'SHA-256' else _isolated(value)}</dd>"
        for label, value in facts
    )
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
    columns = "".join(f"<th>{name}</th>" for name in _OUTCOME) * len(stages)
    yield f'<h2>Measured</h2><table><thead><tr><th colspan="3"></th>{heads}'
    yield "<th></th></tr><tr><th>Point</th><th>Target</th><th>Limits</th>"
    yield f"{columns}<th>TUR</th></tr></thead>"
    yield from (_group(group, stages) for group in sheet.groups)
    yield "</table>"


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
    outcome = (_result_cells(outcomes[stage], f"{_STAGES[stage]}: ") for stage in stages)
    return (
        f"<tr><td>{_isolated(row.point)}{_faint(row.at)}</td>{_cell('Target', row.target)}"
        f"{_cell('Limits', limits, accepted)}{''.join(outcome)}{_cell('TUR', last.ratio)}</tr>"
    )


def _cell(label: str, words: str, markup: str = "", name: str = "") -> str:
    """A cell; on a narrow screen `label` stands before it. `markup` follows the escaped words."""
    kind = f' class="{escape(name)}"' if name else ""
    return f'<td{kind} data-label="{label}">{escape(words)}{markup}</td>'


def _result_cells(outcome: ResultCells, stage: str) -> str:
    """The cells of one result: value with uncertainty, error, probability and verdict."""
    value = f"{outcome.value} ± {outcome.expanded}" if outcome.expanded else outcome.value
    # in brackets, since a bare letter or figure would be copied with the value
    mark = f"<sup>[{escape(outcome.mark)}]</sup>" if outcome.mark else ""
    verdict = f"verdict {outcome.verdict.replace(' ', '-')}"
    cells = ((value, mark, ""), (outcome.error, "", ""), (outcome.probability, "", ""))
    return "".join(
        _cell(f"{stage}{name}", *cell)
        for name, cell in zip(_OUTCOME, (*cells, (outcome.verdict, "", verdict)), strict=True)
    )


def _faint(words: str) -> str:
    """Words beside a name, in a fainter and smaller type; nothing where there are none."""
    return f' <span class="beside">{_isolated(words)}</span>' if words else ""


def _verdict(verdict: str) -> str:
    """A verdict in bold capitals."""
    name = verdict.replace(" ", "-")
    return f'<b class="verdict {escape(name)}">{escape(verdict.upper())}</b>'


def _adjusted(sheet: CertificateText) -> Iterable[str]:
    """The table of adjusted points."""
    names = ("Load", "Limits", "Trim, counts", "Moves")
    heads = "".join(
        f"<th>{name}</th>" for name in ("Point", *names, "Landed at ± U", *_OUTCOME[1:])
    )
    yield f"<h2>Adjusted{_faint(sheet.adjusted_at)}</h2><table><thead>"
    yield f"<tr>{heads}<th>TUR</th></tr></thead><tbody>"
    for row in sheet.adjustments:
        cells = (row.load, f"{row.limits} {row.unit}", row.trim, row.moves)
        plain = "".join(map(_cell, names, cells))
        yield (
            f"<tr><td>{_isolated(row.point)}{_faint(row.at)}</td>{plain}"
            f"{_result_cells(row.left, '')}{_cell('TUR', row.left.ratio)}</tr>"
        )
    yield "</tbody></table>"


def _figure(picture: CurvePicture) -> str:
    """A drawing within the page, with its values in words for who does not see it."""
    svg = picture.svg.replace("<svg", f'<svg role="img" aria-label="{escape(picture.alt)}"', 1)
    return f"<figure><figcaption>{_isolated(picture.title)}</figcaption>{svg}</figure>"
