"""Checks of the analyzer's certificate, on which the uncertainties of a run rest."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import CertificateExpired, UsageError
from ohmwright.model.traceability import Traceability

from .influences import Conditions, stated_effects
from .measured_value import Accuracy
from .session import Session

_AROUND = "#:;()[]. "
"""What may stand around a serial number that is not part of it."""


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
            "Have the analyzer calibrated, or measure with it all the same: --accept-expired (a "
            "program: accept_expired=True); the record will say so.",
        )


def refuse_foreign(bench: Bench, identity: str) -> None:
    """Raise UsageError where the certificate is for another serial number than the analyzer's.

    `identity`: what the analyzer says of itself, fields separated by commas or spaces.
    """
    certificate = bench.certificate
    if certificate is None or certificate.serial is None:
        return
    if not names_serial(identity, certificate.serial):
        raise UsageError(
            f"Certificate {certificate.number} is for the analyzer with serial number "
            f"{certificate.serial}; the one connected says '{identity}'.",
            "Nothing was switched on: its accuracy is not known.",
            "Connect that analyzer, or name the right certificate in the bench file.",
        )


def names_serial(identity: str, serial: str) -> bool:
    """Whether an identity, fields separated by commas or spaces, has this serial number.

    A sign before or after it, as in `#17`, is not part of the number.
    """
    fields = (*identity.split(","), *identity.replace(",", " ").split())
    return serial.strip(_AROUND) in {field.strip(_AROUND) for field in fields}


def untied_certificate(bench: Bench) -> str:
    """Return that nothing ties the certificate to this analyzer; empty where its serial does.

    A simulated analyzer has another serial number with each seed, so that none is asked for.
    """
    certificate = bench.certificate
    if certificate is None or certificate.serial is not None or bench.seed is not None:
        return ""
    named = f"certificate {certificate.number}"
    return f"nothing ties {named} to this analyzer: it states no serial number"


def accuracy_of(bench: Bench) -> Accuracy | None:
    """Return the accuracy of the analyzer's readings today; None without a certificate."""
    if bench.certificate is None:
        return None
    return Accuracy(bench.certificate, bench.clock.wall().date())


def accuracy_at(session: Session, mode: str | None, load_ohm: float) -> Accuracy | None:
    """Return the accuracy of readings in one mode into one load; None without a certificate.

    `mode`: its name, None where the generator's data name none. What the data of bench, analyzer
    and generator do not state is left out.
    """
    accuracy, bench = session.accuracy, session.bench
    if accuracy is None:
        return None
    known = None if mode is None else bench.generator.data.mode(mode)
    environment = bench.environment
    conditions = Conditions(
        mode="" if mode is None else mode,
        carrier_hz=None if known is None else known.carrier_hz,
        bandwidth_hz=bench.analyzer.data.meter.bandwidth_hz,
        room_c=None if environment is None else environment.temperature_c,
    )
    influences = accuracy.certificate.influences
    return replace(accuracy, effects=stated_effects(influences, conditions, load_ohm))
