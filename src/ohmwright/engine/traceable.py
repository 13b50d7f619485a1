"""What a run's uncertainties rest on: the analyzer's certificate, in date or accepted as it is."""

from __future__ import annotations

from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import CertificateExpired
from ohmwright.model.traceability import Traceability

from .appraisal import Accuracy


def traceability_of(bench: Bench, *, accept_expired: bool) -> Traceability | None:
    """The analyzer's calibration today; None where the bench has no certificate.

    Raises CertificateExpired for one past its date, unless someone has chosen to go on.
    """
    certificate = bench.certificate
    if certificate is None:
        return None
    known = certificate.traceability(bench.clock.wall().date())
    if known.expired and not accept_expired:
        raise CertificateExpired(
            f"The analyzer's certificate {known.certificate} ({known.laboratory}) expired on "
            f"{known.due_on}.",
            "Nothing was switched on: what it would measure is not traceable any more.",
            "Have the analyzer calibrated, or go on with --accept-expired; the record will say so.",
        )
    return known


def accuracy_of(bench: Bench) -> Accuracy | None:
    """The accuracy of the analyzer's readings today; None where nothing is certified."""
    if bench.certificate is None:
        return None
    return Accuracy(bench.certificate, bench.clock.wall().date())


def accuracy_in_date(bench: Bench) -> Accuracy | None:
    """The same, but None where the certificate is past its date."""
    known = accuracy_of(bench)
    if known is None or known.certificate.traceability(known.on).expired:
        return None
    return known
