"""The label for the unit: what it is, when and how it was left, and a QR code of the record.

It says passed, failed, limited or, of a sweep, measured, and by what where no analyzer certificate
covers every value, or one was past due; void where the run is void. A serial number that nobody
read is "as told" or "as corrected". Only a unit that passed, by an approved paper and traceable
values, has a due date: on any other, it would say that the unit may be used.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date
from io import BytesIO

from ohmwright.model.result import Verdict, asks_nothing

from .certificate import Certificate
from .text import printable
from .typesetting import TEMPLATES, Form, typeset
from .verdict_grounds import qualification

_WORDS: dict[Verdict, str] = {
    "pass": "passed",
    "fail": "failed",
    "undecided": "limited",
    "not measured": "limited",
}


@dataclass(frozen=True)
class LabelSize:
    """Width and height in mm."""

    width_mm: float = 50.0
    height_mm: float = 25.0


def label(
    certificate: Certificate, size: LabelSize, *, form: Form = "svg", due: date | None = None
) -> bytes:
    """The label as SVG, PDF or PNG (600 dots an inch), as large as `size` says.

    `due` is printed unless there is a reason against it (`why_not_due`).
    """
    unit = certificate.asset
    done = f"{certificate.ended_at.astimezone(UTC):%Y-%m-%d}"
    document = {
        "width_mm": size.width_mm,
        "height_mm": size.height_mm,
        "asset": printable(unit.id),
        "model": printable(unit.model),
        "serial": printable(f"{unit.serial}{_serial_by(certificate)}"),
        "done": done,
        "until": _until(certificate, due),
        "verdict": _word(certificate),
        "ground": _ground(certificate),
        "note": _note(certificate),
        "head": (certificate.head or "")[:12],
        "simulated": certificate.seed is not None,
        "qr": _qr(qr_text(certificate)),
    }
    return typeset(TEMPLATES / "label.typ", document, form=form, at=certificate.ended_at)


def why_not_due(certificate: Certificate) -> str:
    """Why its label has no due date, as a clause; empty where it may have one."""
    if certificate.issue.void:
        return "the run is void"
    if certificate.verdict != "pass":
        return f"the verdict is {certificate.verdict}"
    if certificate.is_draft:
        return "nobody has approved the certificate"
    said = qualification(certificate.results)
    return f"the verdict is {certificate.verdict}, {said}" if said else ""


def _serial_by(certificate: Certificate) -> str:
    """Words behind a serial number that no instrument read: as told or, afterwards, corrected."""
    if certificate.asset.serial != certificate.recorded_asset.serial:
        return " as corrected"
    return " as told" if certificate.unread else ""


def _word(certificate: Certificate) -> str:
    """How the unit was left; of values without limits alone, that they were measured."""
    if certificate.issue.void:
        return "void"
    return "measured" if asks_nothing(certificate.results) else _WORDS[certificate.verdict]


def _ground(certificate: Certificate) -> str:
    """What the verdict rests on, where that is to be qualified; empty for a void."""
    return "" if certificate.issue.void else qualification(certificate.results)


def _note(certificate: Certificate) -> str:
    """That nobody has approved it; empty for a void."""
    return "not approved" if certificate.is_draft and not certificate.issue.void else ""


def _until(certificate: Certificate, due: date | None) -> str:
    """The due date, or how many points passed; empty where neither can be stated."""
    if certificate.issue.void:
        return ""
    if certificate.verdict == "pass":
        return "" if due is None or why_not_due(certificate) else f"Due {due:%Y-%m-%d}"
    if certificate.verdict == "fail" or asks_nothing(certificate.results):
        return ""
    last = [line.last for line in certificate.lines]
    last += [adjustment.result for adjustment in certificate.adjustments]
    passed = sum(result.verdict == "pass" for result in last)
    how = certificate.verdict.capitalize()
    return f"{how}: {passed} of {len(last)} points pass"


def qr_text(certificate: Certificate) -> str:
    """The text in the QR code: verdict, run, the hash that `record verify --head` looks for, unit.

    The unit comes last: with it, whoever scans the label knows that the code has ended.
    """
    simulated = () if certificate.seed is None else ("SIMULATED",)
    head = () if certificate.head is None else (f"head {certificate.head}",)
    issue = certificate.issue
    number = (f"certificate {printable(issue.number)}",) if issue.replaces else ()
    verdict = "void" if issue.void else certificate.verdict
    lines = ("ohmwright", verdict, f"run {printable(certificate.run_id)}", *number, *head)
    note = tuple(filter(None, (_ground(certificate), _note(certificate))))
    return "\n".join((*lines, *note, *simulated, f"asset {printable(certificate.asset.id)}"))


def _qr(text: str) -> str:
    """A QR code of `text` as SVG."""
    import segno

    svg = BytesIO()
    segno.make_qr(text, error="m").save(svg, kind="svg", border=2, xmldecl=False)
    return svg.getvalue().decode()
