"""What a certificate states of itself, and what its words and figures mean."""

from __future__ import annotations

from .certificate import Certificate
from .issue import NOTHING_TOLD
from .measurand_text import far_reading_text, measurand_text
from .measuring_conditions import TOLD_TRIM, trims_told_text
from .result_tables import error_text
from .risk_text import coverage_text, risk_text
from .text import printable
from .uncertainty_text import uncertainty_text
from .verdict_grounds import (
    accreditation_limits,
    covered,
    has_certificate,
    may_be_accredited,
    past_due_text,
    readings_alone_text,
    typed_text,
)

CAUTIONS = (
    "HF output (high frequency, RF) burns and ignites. Work on the unit is for qualified staff, "
    "with the unit disconnected from any patient; the maker's service manual and local codes come "
    "first.",
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
    "P: probability that the true value lies within the limits. TUR (test uncertainty ratio): "
    "half the tolerance divided by U, of the later value where there are two.",
)
_ERROR = "Error: the value less its target, in percent of the target."
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
_RESTED = (
    "Rested: how long RF was off before the activation, and the longest rest that the procedure "
    "asks for; shorter where the unit's data tell how its output droops. None is stated where RF "
    "had not been on before."
)
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
    grounds = (readings_alone_text(results), past_due_text(results), typed_text(results))
    rested = _RESTED if any(map(certificate.rest_before, results)) else ""
    of_values = filter(None, (*grounds, measurand_text(results), rested, far))
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
        *((_ERROR,) if any(map(error_text, results)) else ()),
        _UNDECIDED,
        *of_results,
        *of_u,
        *((_ADJUSTED,) if adjusted else ()),
        *((certificate.stored,) if certificate.stored else ()),
        *((f"Trims marked {TOLD_TRIM}: {trims}.",) if trims else ()),
        *((certificate.recomputed,) if certificate.recomputed else ()),
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
