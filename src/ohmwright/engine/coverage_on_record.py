"""Whether what a record calls traceable is covered by the analyzer's certificate kept with it."""

from __future__ import annotations

from collections.abc import Iterator

from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.result import Result

from .asked_current import current_of
from .measured_value import Accuracy, beyond_certificate
from .steps import step_kind


def not_covered(result: Result, certificate: AnalyzerCertificate) -> Iterator[str]:
    """Yield what the certificate leaves out of a result that is recorded as traceable to it."""
    kind = step_kind(result.kind)
    if not kind.is_covered_by(certificate):
        said = f"it says nothing of what the step kind {result.kind} measures"
    elif kind.has_output_budget:
        said = beyond_certificate(_stated(certificate), _current_ma(result))
    else:
        said = ""
    if said:
        yield f"recorded as traceable to certificate {certificate.number}, and {said}"


def _stated(certificate: AnalyzerCertificate) -> Accuracy:
    return Accuracy(certificate, certificate.calibrated_on)


def _current_ma(result: Result) -> float:
    """Return the current of a value of current or power; 0 without one."""
    measured, quantity = result.measured, result.quantity
    if measured is None or not result.load_ohm or quantity not in ("power_w", "current_ma"):
        return 0.0
    return current_of(max(0.0, measured.value), quantity, result.load_ohm)
