"""What a run's uncertainties rest on: the analyzer's certificate, in date or accepted as it is."""

from __future__ import annotations

from datetime import date

from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import CertificateExpired, UsageError
from ohmwright.model.traceability import Traceability

from .measured_value import Accuracy


def traceability_of(bench: Bench, *, accept_expired: bool) -> Traceability | None:
    """The analyzer's calibration today; None where the bench has no certificate.

    Raises CertificateExpired for one past its date, unless someone has chosen to go on.
    """
    certificate = bench.certificate
    if certificate is None:
        return None
    today = bench.clock.wall().date()
    known = certificate.traceability(today)
    refuse_future(known, today)
    if not accept_expired:
        refuse_expired(known)
    return known


def refuse_future(known: Traceability, today: date) -> None:
    """Raise CertificateExpired for a calibration that is yet to come: it says nothing of today."""
    if known.calibrated_on > today:
        raise CertificateExpired(
            f"The analyzer's certificate {known.certificate} ({known.laboratory}) is of "
            f"{known.calibrated_on}, and today is {today}.",
            "Nothing was switched on: no certificate speaks of what was measured before it.",
            "Correct the computer's date, or name the right certificate in the bench file.",
        )


def refuse_expired(known: Traceability) -> None:
    """Raise CertificateExpired for a calibration past its date."""
    if known.expired:
        raise CertificateExpired(
            f"The analyzer's certificate {known.certificate} ({known.laboratory}) expired on "
            f"{known.due_on}.",
            "Nothing was switched on: what it would measure is not traceable any more.",
            "Have the analyzer calibrated, or go on with --accept-expired; the record will say so.",
        )


def refuse_foreign(bench: Bench, identity: str) -> None:
    """Raise UsageError where the certificate names another serial number than the analyzer does.

    `identity`: the analyzer's own, fields separated by commas.
    """
    certificate = bench.certificate
    if certificate is None or certificate.serial is None:
        return
    if certificate.serial not in (field.strip() for field in identity.split(",")):
        raise UsageError(
            f"Certificate {certificate.number} is for the analyzer with serial number "
            f"{certificate.serial}; the one connected says '{identity}'.",
            "Nothing was switched on: its accuracy is not known.",
            "Connect that analyzer, or name the right certificate in the bench file.",
        )


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
