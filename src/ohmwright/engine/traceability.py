"""Checks of the analyzer's certificate, on which the uncertainties of a run rest."""

from __future__ import annotations

from datetime import date

from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import CertificateExpired, UsageError
from ohmwright.model.traceability import Traceability

from .accuracy import Accuracy
from .influences import Conditions


def traceability_of(bench: Bench, *, accept_expired: bool) -> Traceability | None:
    """Return the analyzer's calibration today; None where the bench has no certificate.

    Raises CertificateExpired for one past its date, unless `accept_expired`.
    """
    certificate = bench.certificate
    if certificate is None:
        return None
    today = bench.clock.wall().date()
    traceability = certificate.traceability(today)
    refuse_future(traceability, today)
    if not accept_expired:
        refuse_expired(traceability)
    return traceability


def refuse_future(traceability: Traceability, today: date) -> None:
    """Raise CertificateExpired for a calibration dated after `today`: it says nothing of today."""
    if traceability.calibrated_on > today:
        raise CertificateExpired(
            f"The analyzer's certificate {traceability.certificate} "
            f"({traceability.laboratory}) is of {traceability.calibrated_on}, and today is "
            f"{today}.",
            "Nothing was switched on: no certificate speaks of what was measured before it.",
            "Correct the computer's date, or name the right certificate in the bench file.",
        )


def refuse_expired(traceability: Traceability) -> None:
    """Raise CertificateExpired for a calibration past its date."""
    if traceability.expired:
        raise CertificateExpired(
            f"The analyzer's certificate {traceability.certificate} "
            f"({traceability.laboratory}) expired on {traceability.due_on}.",
            "Nothing was switched on: what it would measure is not traceable any more.",
            "Have the analyzer calibrated, or go on with --accept-expired; the record will say so.",
        )


def refuse_foreign(bench: Bench, identity: str) -> None:
    """Raise UsageError where the certificate is for another serial number than the analyzer's.

    `identity`: what the analyzer says of itself, fields separated by commas.
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
    """Return the accuracy of the analyzer's readings today; None without a certificate."""
    if bench.certificate is None:
        return None
    room = bench.environment
    conditions = Conditions(
        bandwidth_hz=bench.analyzer.data.meter.bandwidth_hz,
        room_c=None if room is None else room.temperature_c,
    )
    return Accuracy(bench.certificate, bench.clock.wall().date(), conditions)


def accuracy_if_in_date(bench: Bench) -> Accuracy | None:
    """Return the accuracy of the analyzer's readings today; None without a certificate in date."""
    accuracy = accuracy_of(bench)
    if accuracy is None or accuracy.certificate.traceability(accuracy.on).expired:
        return None
    return accuracy
