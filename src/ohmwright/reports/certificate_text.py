"""The text of a certificate, shared by every form that it takes on paper or screen."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import UTC
from typing import Any

from ohmwright.model.result import Result

from .certificate import Certificate
from .curves import curve_svg, plotted_curves
from .details import Details, detail_blocks
from .part_texts import interruption_lines, protection_lines
from .result_tables import (
    AdjustmentRow,
    StepGroup,
    adjustment_conditions,
    adjustment_rows,
    step_groups,
)
from .text import printable
from .traceability_marks import mark_notes
from .uncertainty_text import uncertainty_text

CAUTIONS = (
    "HF output burns and ignites. Work on the unit is for qualified staff, with the unit "
    "disconnected from any patient; the maker's service manual and local codes come first.",
    "A value holds at the stated age of an activation that began rested, into the stated load "
    "resistance, with the settings of the procedure; it says nothing of other conditions.",
    "Electrical-safety tests are not part of this certificate unless listed as a point.",
)
NOTES = (
    "U: expanded uncertainty, of about 95 % coverage (GUM). Where none is given, none is known.",
    "P: probability that the true value lies within the limits. TUR: half the tolerance over U.",
    "Undecided is neither pass nor fail; it is never rounded to a pass.",
)
_ADJUSTED = "The adjustment is decided on a rested confirmation after the last move of the trim."


def notes_of(certificate: Certificate) -> tuple[str, ...]:
    """What the words and figures of this certificate mean, first whether its seal is trusted.

    What U holds and lacks comes after the notes that all certificates have.
    """
    adjusted = any(result.stage == "adjust" for result in certificate.results)
    seal = (certificate.seal_note,) if certificate.seal_note else ()
    of_u = filter(None, (uncertainty_text(certificate.results),))
    return (*seal, *NOTES, *of_u, *((_ADJUSTED,) if adjusted else ()))


@dataclass(frozen=True)
class CurvePicture:
    """A power curve as SVG, and its values in words."""

    title: str
    svg: str
    alt: str


@dataclass(frozen=True)
class CertificateText:
    """Everything that a certificate shows, as printable text in the order in which it is shown."""

    title: str
    number: str
    issued: str
    verdict: str
    verdict_found: str
    verdict_left: str
    simulated: str
    """Empty for a real unit."""
    facts: tuple[tuple[str, Details], ...]
    groups: tuple[StepGroup, ...]
    stages: tuple[str, ...]
    adjustments: tuple[AdjustmentRow, ...]
    adjusted_at: str
    """Conditions that all adjusted points share."""
    reasons: tuple[str, ...]
    interruptions: tuple[str, ...]
    """A line for each part of an interrupted run; empty for a run in one part."""
    remarks: tuple[str, ...]
    protections: tuple[str, ...]
    """What kept RF from staying on, and what the bench lacked."""
    pictures: tuple[CurvePicture, ...]
    rules: tuple[str, ...]
    cautions: tuple[str, ...]
    notes: tuple[str, ...]
    documents: tuple[tuple[str, str, str], ...]
    """Role, name and SHA-256 of each."""
    head: str

    def document(self) -> dict[str, Any]:
        """The text as dictionaries and lists, fit for JSON."""
        return asdict(self)


def certificate_text(certificate: Certificate) -> CertificateText:
    """The text of `certificate`, its power curves drawn."""
    return CertificateText(
        title="Certificate of calibration",
        number=printable(certificate.run_id),
        issued=f"{certificate.ended_at.astimezone(UTC):%Y-%m-%d}",
        verdict=certificate.verdict,
        verdict_found=_verdict(certificate, "as_found"),
        verdict_left=_verdict(certificate, "as_left"),
        simulated=_simulated(certificate.seed),
        facts=tuple(detail_blocks(certificate)),
        groups=tuple(step_groups(certificate)),
        stages=tuple(s for s in ("as_found", "as_left") if s in certificate.stages),
        adjustments=tuple(adjustment_rows(certificate)),
        adjusted_at=adjustment_conditions(certificate).words(),
        reasons=tuple(_reasons(certificate.results)),
        remarks=certificate.remarks,
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
        head=certificate.head or "",
    )


def _verdict(certificate: Certificate, stage: Any) -> str:
    """The verdict of a stage; empty where the run does not have it."""
    return certificate.verdict_of(stage) if stage in certificate.stages else ""


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
