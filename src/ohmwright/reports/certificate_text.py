"""The text of a certificate, shared by every form that it takes on paper or screen."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from datetime import UTC
from typing import Any

from ohmwright.model.result import Result
from ohmwright.model.step import Stage

from .certificate import Certificate
from .curves import curve_svg, plotted_curves
from .details import Details, detail_blocks
from .issue import NOTHING_TOLD
from .measurand_text import far_reading_text, measurand_text
from .measuring_conditions import TOLD_TRIM, trims_told_text
from .part_texts import BENCH_HEADING, interruption_lines, protection_lines
from .result_tables import (
    AdjustmentRow,
    StepGroup,
    adjustment_conditions,
    adjustment_rows,
    step_groups,
)
from .risk_text import coverage_text, risk_text
from .text import minute_text, printable
from .traceability_marks import mark_notes
from .uncertainty_text import uncertainty_text
from .verdict_grounds import (
    accreditation_limits,
    covered,
    has_certificate,
    may_be_accredited,
    qualification,
    readings_alone_text,
)

CAUTIONS = (
    "HF output burns and ignites. Work on the unit is for qualified staff, with the unit "
    "disconnected from any patient; the maker's service manual and local codes come first.",
    "A value holds for the stated age of an activation, into the stated load resistance, with the "
    "settings of the procedure; it says nothing of other conditions.",
    "Electrical-safety tests are not part of this paper unless listed as a point.",
)
STATEMENTS = (
    "The results relate only to the item named above, as it was when the work was done.",
    "This paper may be reproduced in full only, unless the laboratory has agreed in writing to an "
    "extract.",
)
_OF_COVERED = (
    "U: expanded uncertainty, of about 95 % coverage (GUM). Where none is given, none is known.",
    "P: probability that the true value lies within the limits. TUR: half the tolerance over U, of "
    "the later value where there are two.",
)
_UNDECIDED = "Undecided is neither pass nor fail; it is never rounded to a pass."
NOT_ON_RECORD = (
    "Laboratory, customer, place and receipt are as told when this paper was made; they become "
    "part of the record by its approval."
)
DRAFT = (
    "Not approved: nobody has released these results, so this is no certificate. It has neither "
    "accreditation nor logo; a number names a paper once it is approved."
)
_TITLE = "Certificate of calibration"
_NO_CERTIFICATE = "Report of measurement"
"""The title where no value rests on an analyzer certificate."""
_FAR_READING = "The last reading stands beside a value that lies more than half its U from it."
_ADJUSTED = "The adjustment is decided on a rested confirmation after the last move of the trim."


def notes_of(certificate: Certificate) -> tuple[str, ...]:
    """What the words and figures of this certificate mean, first whether its seal is trusted.

    What U holds and lacks comes after the notes that all certificates have.
    """
    adjusted = any(result.stage == "adjust" for result in certificate.results)
    seal = (certificate.seal_note,) if certificate.seal_note else ()
    results = certificate.results
    of_results = filter(None, (coverage_text(results), risk_text(results)))
    far = _FAR_READING if any(map(far_reading_text, results)) else ""
    of_values = filter(None, (readings_alone_text(results), measurand_text(results), far))
    of_u = filter(None, (uncertainty_text(results),))
    trims = trims_told_text(results)
    issue = certificate.issue
    told = (NOT_ON_RECORD,) if issue.paper != NOTHING_TOLD and not issue.on_record else ()
    standing = filter(None, (draft_text(certificate), certificate.copy))
    return (
        *standing,
        *seal,
        *of_values,
        *(_OF_COVERED if any(r.measured is not None for r in covered(results)) else ()),
        _UNDECIDED,
        *of_results,
        *of_u,
        *((_ADJUSTED,) if adjusted else ()),
        *((f"Trims marked {TOLD_TRIM}: {trims}.",) if trims else ()),
        *told,
    )


def statements_of(certificate: Certificate) -> tuple[str, ...]:
    """What the certificate states of itself: issues it replaces, scope, the laboratory's own.

    A draft or void one has nothing of the last: such sentences are about what was released.
    """
    issue = certificate.issue
    own = map(printable, issue.paper.statements) if certificate.vouches else ()
    return (*issue.amendments, *issue.remarks, *STATEMENTS, *own)


def title_of(certificate: Certificate) -> str:
    """What the paper is: a certificate of calibration only where a value is traceable."""
    return _TITLE if has_certificate(certificate.results) else _NO_CERTIFICATE


def accreditation_of(certificate: Certificate) -> str:
    """The laboratory's words on its accreditation, and what they do not hold for; else empty.

    They vouch for results: a draft or void paper has none, nor one without a valid analyzer
    certificate.
    """
    said = certificate.issue.paper.accreditation
    if not said or not certificate.vouches or not may_be_accredited(certificate.results):
        return ""
    limits = accreditation_limits(certificate.results)
    return printable(f"{said.rstrip('.')}. {limits}" if limits else said)


def draft_text(certificate: Certificate) -> str:
    """That nobody has approved the certificate; empty where somebody has."""
    return DRAFT if certificate.is_draft else ""


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
        verdict=certificate.verdict,
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
    return certificate.verdict_of(stage) if stage in certificate.stages else ""


def _qualified(certificate: Certificate, stage: Stage) -> str:
    """How the verdict of a stage is to be qualified; empty where it is not."""
    return qualification(result for result in certificate.results if result.stage == stage)


def _simulated(seed: int | None) -> str:
    """That the unit was simulated; empty where it was not."""
    if seed is None:
        return ""
    return f"Simulated unit and instruments, seed {seed}: no evidence about any real unit."


def _reasons(results: Iterable[Result]) -> Iterable[str]:
    """Why each point that did not pass did not, and what the record says of others."""
    for result in results:
        if result.verdict != "pass" or result.reason:
            where = f"{result.stage.replace('_', ' ')}, {result.step}, {result.point}"
            why = ", ".join(filter(None, (result.verdict, result.reason)))
            yield printable(f"{where}: {why}").replace(" ohm", " Ω")
