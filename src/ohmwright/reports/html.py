"""The certificate as one HTML file: no script, nothing fetched, every text escaped."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable
from hashlib import sha256
from html import escape
from pathlib import Path

from .certificate_text import CertificateText, CurvePicture, Letterhead
from .details import Details
from .html_tables import adjusted_table, isolated, measured_table
from .typesetting import Picture

_CSS = Path(__file__).parent / "templates" / "certificate.css"


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


def _letterhead(head: Letterhead, logo: Picture | None) -> Iterable[str]:
    """The laboratory with its logo; nothing where neither is known."""
    if not head.name and logo is None:
        return
    picture = ""
    if logo is not None:
        kind = {"svg": "svg+xml", "jpg": "jpeg"}.get(logo.form, logo.form)
        data = b64encode(logo.content).decode()
        picture = f'<img alt="Logo" src="data:image/{kind};base64,{data}">'
    lines = "".join(f"<br>{isolated(line)}" for line in head.address)
    yield (
        f'<div class="letterhead">{picture}<p><b>{isolated(head.name)}</b>{lines}</p>'
        f"<p>{isolated(head.accreditation)}</p></div>"
    )


def _hash(digest: str) -> str:
    """A hash that may break after every eight digits, and is copied without a gap."""
    parts = (escape(digest[at : at + 8]) for at in range(0, len(digest), 8))
    return f"<code>{'<wbr>'.join(parts)}</code>"


def _head(sheet: CertificateText) -> Iterable[str]:
    """The title with the verdict, and what the paper is not."""
    numbered = "Would have the number" if sheet.draft else "Number"
    yield (
        f"<header><div><h1>{escape(sheet.title)}</h1>"
        f'<p class="faint">{numbered} {isolated(sheet.number)}</p></div>'
        f'<div class="result"><span class="faint">Result of {escape(sheet.done)}</span>'
        f"{'<b>VOID</b>' if sheet.void else _verdict(sheet.verdict, sheet.verdict_qualified)}"
        "</div></header>"
    )
    marks = {"VOID": sheet.void, "SIMULATED": sheet.simulated, "DRAFT": sheet.draft}
    if mark := next((word for word, said in marks.items() if said), ""):
        yield f'<div class="watermark" aria-hidden="true"><span>{mark}</span></div>'
    if sheet.void:
        warning = "<b>VOID. This paper must not be used.</b>"
        yield f'<p class="void">{warning} {isolated(sheet.void)}</p>'
    for word, said in (("DRAFT", sheet.draft), ("COPY", sheet.copy)):
        if said:
            yield f'<p class="standing"><b>{word}.</b> {isolated(said)}</p>'
    if sheet.simulated:
        yield f'<p class="simulated"><b>SIMULATED.</b> {escape(sheet.simulated)}</p>'
    if sheet.verdict_found and sheet.verdict_left:
        found = _verdict(sheet.verdict_found, sheet.found_qualified)
        left = _verdict(sheet.verdict_left, sheet.left_qualified)
        adjusted = sheet.verdict_adjusted
        between = f"Adjusted: {_verdict(adjusted)} &emsp; " if adjusted else ""
        yield f"<p>As found: {found} &emsp; {between}As left: {left}</p>"


def _body(sheet: CertificateText) -> Iterable[str]:
    """The elements within the body, in order."""
    yield from _head(sheet)
    yield '<div class="facts">'
    yield from (_detail_block(name, facts) for name, facts in sheet.facts)
    yield "</div>"
    if sheet.groups:
        yield from measured_table(sheet)
    if sheet.adjustments:
        yield from adjusted_table(sheet)
    yield from _list("Points that did not pass, and what is said of others", sheet.reasons)
    yield from _list("Interruptions", sheet.interruptions)
    yield from _list("Remarks", sheet.remarks)
    if sheet.pictures:
        yield '<h2>Power curves</h2><div class="curves">'
        yield from map(_figure, sheet.pictures)
        yield "</div>"
    yield from _list("Decision and meaning", (*_rules(sheet), *sheet.notes))
    yield from _list(sheet.bench_heading, sheet.protections)
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
        f"{isolated(name)} {escape(at)} <span>key {escape(key)}</span>"
        for name, at, key in sheet.approvals
    )
    how = "Approved by, signed in the record" if approvals else "Approved by; signature, date"
    yield '<div class="signatures">'
    yield (
        f"<div><p>{isolated(sheet.carried_out_by)}</p><p>Carried out by; signature, date</p></div>"
    )
    yield f"<div><p>{approvals}</p><p>{how}</p></div></div>"
    if sheet.one_key:
        yield f'<p class="one-key">{isolated(sheet.one_key)}</p>'


def _rules(sheet: CertificateText) -> Iterable[str]:
    """The sentence that names the decision rules; nothing where there are none."""
    if sheet.rules:
        yield f"Decision rule: {'; '.join(sheet.rules)}."


def _documents(documents: Iterable[tuple[str, str, str]]) -> Iterable[str]:
    """The list of documents in the record, with their SHA-256."""
    rows = "".join(
        f"<dt>{escape(role)}</dt><dd>{isolated(name)} {_hash(digest)}</dd>"
        for role, name, digest in documents
    )
    if rows:
        yield f'<h2>In the record in full, with SHA-256</h2><dl class="long">{rows}</dl>'


def _detail_block(name: str, facts: Details) -> str:
    """A block of details under its heading."""
    rows = "".join(
        f"<dt>{escape(label)}</dt>"
        f"<dd>{_hash(value) if label == 'SHA-256' else isolated(value)}</dd>"
        for label, value in facts
    )
    return f"<section><h2>{escape(name)}</h2><dl>{rows}</dl></section>"


def _list(name: str, items: Iterable[str]) -> Iterable[str]:
    """A heading and a list; nothing where there are no items."""
    found = "".join(f"<li>{isolated(item)}</li>" for item in items)
    if found:
        yield f"<h2>{name}</h2><ul>{found}</ul>"


def _verdict(verdict: str, qualified: str = "") -> str:
    """A verdict in bold capitals; as large beside it, what it rests on where that needs saying."""
    name = verdict.replace(" ", "-")
    said = f'<b class="verdict {escape(name)}">{escape(verdict.upper())}</b>'
    return f"{said}, {_ground(qualified)}" if qualified else said


def _ground(qualified: str) -> str:
    """What the verdicts before it rest on, in bold type of their size."""
    return f'<b class="ground">{escape(qualified)}</b>'


def _figure(picture: CurvePicture) -> str:
    """A drawing within the page, with its values in words for who does not see it."""
    svg = picture.svg.replace("<svg", f'<svg role="img" aria-label="{escape(picture.alt)}"', 1)
    return f"<figure><figcaption>{isolated(picture.title)}</figcaption>{svg}</figure>"
