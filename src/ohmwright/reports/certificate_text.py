"""The text of a certificate, shared by every form that it takes on paper or screen.

What it states, and what its words mean, is in `certificate_notes`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from datetime import UTC
from typing import Any

from ohmwright.engine.steps.sweep import NO_LIMITS
from ohmwright.model.result import Result
from ohmwright.model.step import Stage

from .certificate import Certificate
from .certificate_notes import (
    CAUTIONS,
    accreditation_of,
    draft_text,
    notes_of,
    statements_of,
    title_of,
)
from .curves import curve_svg, plotted_curves
from .details import Details, detail_blocks
from .part_texts import BENCH_HEADING, interruption_lines, protection_lines
from .result_tables import (
    AdjustmentRow,
    StepGroup,
    adjustment_conditions,
    adjustment_rows,
    step_groups,
)
from .text import minute_text, printable, verdict_and_reason
from .traceability_marks import mark_notes
from .verdict_grounds import qualification, said_verdict


@dataclass(frozen=True)
class CurvePicture:
    """A power curve as SVG, and its values in words."""

    title: str
    svg: str
    alt: str


@dataclass(frozen=True)
class Letterhead:
    """The laboratory whose certificate it is; all empty where none is known."""

    name: str
    address: tuple[str, ...]
    accreditation: str


@dataclass(frozen=True)
class CertificateText:
    """Everything that a certificate shows, as printable text in the order in which it is shown."""

    title: str
    number: str
    done: str
    """Day on which the work ended, as 2026-03-02."""
    dated: str
    """Day of the end of the work, or of the amendment: the date of the file."""
    letterhead: Letterhead
    void: str
    """Who declared the run void, when and why; empty where it is not void."""
    draft: str
    """That nobody has approved it; empty where somebody has."""
    copy: str
    """By what it is a copy, and not the paper that was issued; empty where it is that one."""
    verdict: str
    verdict_qualified: str
    """That the verdict is by readings alone; empty where the analyzer's accuracy is part of it."""
    verdict_found: str
    found_qualified: str
    """The same of the verdict as found."""
    verdict_left: str
    left_qualified: str
    verdict_adjusted: str
    """Of the adjusted points, where it is no pass; else empty."""
    simulated: str
    """Empty for a real unit."""
    facts: tuple[tuple[str, Details], ...]
    groups: tuple[StepGroup, ...]
    stages: tuple[str, ...]
    far_readings: bool
    """Whether any measured value lies so far from its last reading that this is given."""
    adjustments: tuple[AdjustmentRow, ...]
    adjusted_at: str
    """Conditions that all adjusted points share."""
    reasons: tuple[str, ...]
    interruptions: tuple[str, ...]
    """A line for each part of an interrupted run; empty for a run in one part."""
    remarks: tuple[str, ...]
    bench_heading: str
    protections: tuple[str, ...]
    """Who must stand by, what kept RF from staying on, and what the bench lacked."""
    pictures: tuple[CurvePicture, ...]
    rules: tuple[str, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    documents: tuple[tuple[str, str, str], ...]
    """Role, name and SHA-256 of each."""
    statements: tuple[str, ...]
    carried_out_by: str
    approvals: tuple[tuple[str, str, str], ...]
    """Name, time and key fingerprint of each approval."""
    one_key: str
    """Who of those who sealed and approved signed with one key; empty where nobody did."""
    head: str

    def as_copy(self, why: str) -> CertificateText:
        """The text of a paper that is not the issued one, and why."""
        return replace(self, copy=why, title=f"Copy of a {self.title.lower()}")

    def document(self) -> dict[str, Any]:
        """The text as dictionaries and lists, fit for JSON."""
        return asdict(self)


def certificate_text(certificate: Certificate) -> CertificateText:
    """The text of `certificate`, its power curves drawn."""
    groups = tuple(step_groups(certificate))
    return CertificateText(
        title=_title(certificate),
        number=printable(certificate.issue.number),
        done=f"{certificate.ended_at.astimezone(UTC):%Y-%m-%d}",
        dated=f"{certificate.dated.astimezone(UTC):%Y-%m-%d}",
        letterhead=_letterhead(certificate),
        void=certificate.issue.void,
        draft=draft_text(certificate),
        copy=certificate.copy,
        verdict=said_verdict(certificate.verdict, certificate.results),
        verdict_qualified="" if certificate.issue.void else qualification(certificate.results),
        verdict_found=_verdict(certificate, "as_found"),
        found_qualified=_qualified(certificate, "as_found"),
        verdict_left=_verdict(certificate, "as_left"),
        left_qualified=_qualified(certificate, "as_left"),
        verdict_adjusted=_verdict(certificate, "adjust").replace("pass", ""),
        simulated=_simulated(certificate.seed),
        facts=tuple(detail_blocks(certificate)),
        groups=groups,
        far_readings=any(row.found.read or row.left.read for group in groups for row in group.rows),
        stages=tuple(s for s in ("as_found", "as_left") if s in certificate.stages),
        adjustments=tuple(adjustment_rows(certificate)),
        adjusted_at=adjustment_conditions(certificate).words(),
        reasons=tuple(_reasons(certificate.results)),
        remarks=certificate.remarks,
        bench_heading=BENCH_HEADING,
        protections=tuple(protection_lines(certificate.parts)),
        interruptions=tuple(interruption_lines(certificate.parts)),
        pictures=tuple(
            CurvePicture(printable(curve.title), curve_svg(curve), printable(curve.alt()))
            for curve in plotted_curves(certificate)
        ),
        rules=tuple(printable(rule) for rule in certificate.rules),
        cautions=CAUTIONS,
        notes=(*notes_of(certificate), *mark_notes(certificate.marks)),
        documents=tuple(
            (one.role, printable(one.name), one.sha256) for one in certificate.documents
        ),
        statements=statements_of(certificate),
        carried_out_by=printable(", ".join(certificate.operators)),
        approvals=tuple(
            (one.name, minute_text(one.at), one.key_words) for one in certificate.issue.approvals
        ),
        one_key=certificate.issue.one_key,
        head=certificate.head or "",
    )


def _title(certificate: Certificate) -> str:
    """The title of the paper, which also tells `record verify` what a file calls itself."""
    kind = "Draft" if certificate.is_draft else "Copy" if certificate.copy else ""
    title = title_of(certificate)
    if certificate.issue.void and not kind:
        return f"Void {title.lower()}"
    return f"{kind} of a {title.lower()}" if kind else title


def _letterhead(certificate: Certificate) -> Letterhead:
    """The laboratory at the head of the certificate; all empty where none is known."""
    paper = certificate.issue.paper
    if paper.laboratory is None:
        return Letterhead("", (), "")
    return Letterhead(
        printable(paper.laboratory.name),
        tuple(map(printable, paper.laboratory.address)),
        accreditation_of(certificate),
    )


def _verdict(certificate: Certificate, stage: Stage) -> str:
    """The verdict of a stage; empty where the run does not have it."""
    if stage not in certificate.stages:
        return ""
    results = [result for result in certificate.results if result.stage == stage]
    return said_verdict(certificate.verdict_of(stage), results)


def _qualified(certificate: Certificate, stage: Stage) -> str:
    """How the verdict of a stage is to be qualified; empty where it is not."""
    return qualification(result for result in certificate.results if result.stage == stage)


def _simulated(seed: int | None) -> str:
    """That the unit was simulated; empty where it was not."""
    if seed is None:
        return ""
    return f"Simulated unit and instruments, seed {seed}: no evidence about any real unit."


def _reasons(results: Iterable[Result]) -> Iterable[str]:
    """Why each point that did not pass did not, and what the record says of others.

    One line for all points of a step that have no limits and nothing else to be said of them.
    """
    said = dict[str, None]()
    for result in results:
        where = f"{result.stage.replace('_', ' ')}, {result.step}"
        if result.reason == NO_LIMITS:
            said[f"{where}: {NO_LIMITS}"] = None
        elif result.verdict != "pass" or result.reason:
            said[f"{where}, {result.point}: {verdict_and_reason(result)}"] = None
    return (printable(line).replace(" ohm", " Ω") for line in said)
