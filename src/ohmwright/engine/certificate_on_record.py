"""Whether results fit the analyzer's certificate that is kept with them: dates and lines.

What a certificate and the other kept documents make of a value's budget is computed once more, by
the formulas of `measured_value`: all lines but those of the readings, and the names of what is
left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from math import sqrt
from typing import TypeVar

from pydantic import ValidationError

from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.base import FrozenModel
from ohmwright.model.event import DocumentKept, Event, PointDone, RunResumed, RunStarted
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.result import Measured, Result
from ohmwright.model.traceability import Traceability

from .coverage_on_record import not_covered
from .influences import Conditions, stated_effects
from .kept_documents import DocumentedPart, with_parts
from .measured_value import FROM_READINGS, Accuracy, left_out, power_sensitivities
from .steps import step_kind
from .traceability import names_serial

_SAME = 0.02
"""Relative difference of a line that is none: a drawn value is not quite the linear one."""
_NEGLIGIBLE = 0.002
"""Of the combined uncertainty: a line of less does not count."""
_BEGINNING = timedelta(minutes=10)
"""From the look at the certificate to the first event; a day may begin meanwhile."""

M = TypeVar("M", bound=FrozenModel)


@dataclass(frozen=True)
class _Kept:
    """What a part of a record keeps of the instruments; None for what cannot be read here."""

    part: RunStarted | RunResumed
    certificate: AnalyzerCertificate | None
    has_certificate: bool
    analyzer: AnalyzerData | None
    generator: GeneratorData | None


def differing_certificates(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each event that its certificate, dates or lines contradict.

    Documents count from where the record has them. Records of before documents were kept have
    none, and are passed over.
    """
    of_part: _Kept | None = None
    for number, event, part in with_parts(events):
        if isinstance(event, DocumentKept):
            of_part = None
        elif isinstance(event, RunStarted | RunResumed):
            of_part = None
            yield from ((number, said) for said in _dates(event.traceability, event))
        elif isinstance(event, PointDone) and part is not None and part.began.documents:
            if of_part is None:
                of_part = _kept_of(part)
                yield from ((number, said) for said in _foreign(of_part))
            for said in _against(event.result, of_part):
                yield number, f"{event.result.step}, {event.result.point}: {said}"


def _dates(basis: Traceability | None, part: RunStarted | RunResumed) -> Iterator[str]:
    """Yield what the day of the work says against a certificate that is recorded as in force."""
    if basis is None:
        return
    if basis.calibrated_on > part.at.date():
        yield f"certificate {basis.certificate} is of {basis.calibrated_on}, after the work"
    began: date = (part.at - _BEGINNING).date()
    if began > basis.due_on and not basis.expired:
        yield (
            f"the work was done on {part.at.date()}, certificate {basis.certificate} was due on "
            f"{basis.due_on}, and the record does not say that it had expired"
        )


def _foreign(kept: _Kept) -> Iterator[str]:
    """Yield that the analyzer of a run is not the one that its certificate names."""
    serial = None if kept.certificate is None else kept.certificate.serial
    part = kept.part
    if serial and isinstance(part, RunStarted) and not names_serial(part.analyzer, serial):
        yield (
            f"the analyzer says '{part.analyzer}', and the certificate kept with the run is for "
            f"serial number {serial}"
        )


def _kept_of(part: DocumentedPart) -> _Kept:
    certificate = part.table("analyzer certificate")
    return _Kept(
        part.began,
        _understood(AnalyzerCertificate, certificate),
        bool(certificate),
        _understood(AnalyzerData, part.table("analyzer data").get("data", {})),
        _understood(GeneratorData, part.table("generator data").get("data", {})),
    )


def _understood(kind: type[M], table: Mapping[str, object]) -> M | None:
    """Return a kept table as data; None where it is missing or is not understood here."""
    try:
        return kind.model_validate(table) if table else None
    except ValidationError:
        return None


def _against(result: Result, kept: _Kept) -> Iterator[str]:
    """Yield what the kept documents of its part say against a result."""
    basis = result.traceability
    if isinstance(basis, Traceability):
        if not kept.has_certificate:
            yield f"traceable to certificate {basis.certificate}, and none is kept with the run"
            return
        if basis != kept.part.traceability:
            yield from _dates(basis, kept.part)
        if kept.certificate is not None:
            yield from not_covered(result, kept.certificate)
    if kept.has_certificate and kept.certificate is None:
        return
    measured = (result.measured, None if result.sweep is None else result.sweep.current)
    for one in measured:
        has_budget = step_kind(result.kind).has_output_budget
        if one is not None and has_budget and result.load_ohm:
            yield from _differing_lines(result, one, result.load_ohm, kept)


def _differing_lines(
    result: Result, measured: Measured, load_ohm: float, kept: _Kept
) -> Iterator[str]:
    """Yield each line of a budget, and each effect left out, that the documents do not give."""
    quantity = measured.quantity
    if quantity not in ("power_w", "current_ma") or not measured.budget:
        return
    accuracy = _accuracy(result.mode, load_ohm, kept)
    expected = _expected_lines(measured, load_ohm, accuracy)
    recorded = {
        line.source: line.standard_uncertainty
        for line in measured.budget
        if line.source not in FROM_READINGS
    }
    named = "the documents kept with the run make"
    for source in sorted({*expected, *recorded}):
        said, again = recorded.get(source, 0.0), expected.get(source, 0.0)
        if abs(said - again) > _SAME * again + _NEGLIGIBLE * measured.uncertainty:
            yield f"{source} is {said:.3g} in its budget, and {named} it {again:.3g}"
    lacks = left_out(quantity, accuracy)
    if measured.left_out is not None and {*measured.left_out} != {*lacks}:
        differing = sorted({*measured.left_out} ^ {*lacks})
        yield f"its budget leaves out other effects than {named} it: {', '.join(differing)}"


def _accuracy(mode: str | None, load_ohm: float, kept: _Kept) -> Accuracy | None:
    """Return the accuracy of readings as `traceability.accuracy_at` does, by the kept documents."""
    if kept.certificate is None:
        return None
    known = None if mode is None or kept.generator is None else kept.generator.mode(mode)
    room = kept.part.environment
    conditions = Conditions(
        mode="" if mode is None else mode,
        carrier_hz=None if known is None else known.carrier_hz,
        bandwidth_hz=None if kept.analyzer is None else kept.analyzer.meter.bandwidth_hz,
        room_c=None if room is None else room.temperature_c,
    )
    effects = stated_effects(kept.certificate.influences, conditions, load_ohm)
    return replace(Accuracy(kept.certificate, kept.part.at.date()), effects=effects)


def _expected_lines(
    measured: Measured, load_ohm: float, accuracy: Accuracy | None
) -> Mapping[str, float]:
    """Return the contributions of certificate and effects, by label, in the unit of the value."""
    if accuracy is None:
        return {}
    if measured.quantity == "current_ma":
        lines = [(one, 1.0) for one in accuracy.current_lines(measured.value)]
    else:
        current_ma = 1000 * sqrt(max(0.0, measured.value) / load_ohm)
        per_ma, per_ohm = power_sensitivities(current_ma, load_ohm)
        lines = [(one, per_ma) for one in accuracy.current_lines(current_ma)]
        lines += [(one, per_ohm) for one in accuracy.load_lines(load_ohm)]
    return {one.label: sensitivity * one.standard_uncertainty for one, sensitivity in lines}
