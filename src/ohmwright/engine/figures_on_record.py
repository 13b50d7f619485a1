"""Whether the figures of a result follow from its own budget, readings and kept documents."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from math import isclose, sqrt
from typing import Any

from ohmwright.model.event import Event, PointDone
from ohmwright.model.result import Measured, Result
from ohmwright.model.traceability import Traceability
from ohmwright.uncertainty.inputs import coverage_factor

from .kept_documents import with_parts
from .measured_value import COVERAGE, LOAD, METER, part_of_u

_SAME, _DRAWN = 1e-3, 0.05
"""Relative difference that is none: of a computed figure, and of one by Monte Carlo."""
_LAST_READING = 0.3
"""Relative difference, in current, that lag and droop never make of a value and its last reading;
from memory of the lags that units have, no source."""
_DIGITS_MA = 5.0
"""Difference in mA that is none: of small currents the meter's digits are a large part."""

_Table = Mapping[str, Any]


def differing_figures(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each event that its own figures or documents contradict.

    Documents count from where the record has them; one that is no TOML here is passed over.
    """
    for number, event, part in with_parts(events):
        if isinstance(event, PointDone):
            for said in _against_itself(event.result):
                yield number, said
            if part is not None:
                certificate, procedure = part.table("analyzer certificate"), part.table("procedure")
                for said in _against_documents(event.result, certificate, procedure):
                    yield number, said


def _against_itself(result: Result) -> Iterator[str]:
    """What budget and readings of a result say against its figures."""
    measured = result.measured
    if measured is None:
        return
    named = f"{result.step}, {result.point}"
    near = _SAME if measured.propagation == "linear" else _DRAWN
    combined = _combined(measured)
    if measured.budget and not isclose(combined, measured.uncertainty, rel_tol=near):
        yield f"{named}: u is {measured.uncertainty:.4g}, and its budget makes it {combined:.4g}"
    factor, expanded = measured.coverage_factor, measured.expanded
    if factor is not None and expanded is not None:
        if not isclose(factor * measured.uncertainty, expanded, rel_tol=_SAME):
            yield f"{named}: U is {expanded:.4g}, and k u is {factor * measured.uncertainty:.4g}"
        by_dof = coverage_factor(measured.dof, COVERAGE)
        if measured.propagation == "linear" and not isclose(factor, by_dof, rel_tol=_SAME):
            yield f"{named}: k is {factor:.3f}, and its degrees of freedom make it {by_dof:.3f}"
    yield from _against_readings(named, result, measured)


def _combined(measured: Measured) -> float:
    """The combined standard uncertainty by the lines of the budget and their correlation."""
    squares = sum(part_of_u(line, measured) ** 2 for line in measured.budget)
    by_source = {line.source: line.standard_uncertainty for line in measured.budget}
    both = by_source.get(METER, 0.0) * by_source.get(LOAD, 0.0)
    return sqrt(max(0.0, squares + 2 * (measured.correlation or 0.0) * both))


def _against_readings(named: str, result: Result, measured: Measured) -> Iterator[str]:
    """That the value is nowhere near the last reading of its activation."""
    quantity = measured.quantity or (result.target and result.target.quantity)
    if not result.samples or measured.value < 0:
        return
    if quantity == "power_w" and result.load_ohm:
        value_ma = 1000 * sqrt(measured.value / result.load_ohm)
    elif quantity == "current_ma":
        value_ma = measured.value
    else:
        return
    read_ma = result.samples[-1].current_ma
    if abs(value_ma - read_ma) > max(_LAST_READING * max(value_ma, read_ma), _DIGITS_MA):
        yield f"{named}: its value is {value_ma:.4g} mA, and its last reading {read_ma:.4g} mA"


def _against_documents(result: Result, certificate: _Table, procedure: _Table) -> Iterator[str]:
    """What the kept certificate and procedure say against a result."""
    named, basis = f"{result.step}, {result.point}", result.traceability
    if (
        isinstance(basis, Traceability)
        and certificate
        and is_another_certificate(basis, certificate)
    ):
        yield (
            f"{named}: traceable to certificate {basis.certificate}, due {basis.due_on}; kept with "
            f"the run is {certificate.get('number')}, due {certificate.get('due_on')}"
        )
    step = next((s for s in procedure.get("step", ()) if s.get("name") == result.step), None)
    if step is None:
        return
    if step.get("kind", result.kind) != result.kind:
        yield f"{named}: it is of the kind {result.kind}, and the procedure says {step['kind']}"
    if result.stage == "adjust":
        return
    # other kinds measure at settings and loads of their own making
    for key in ("mode", "setting_w", "load_ohm") if result.kind == "output" else ("mode",):
        said, stated = getattr(result, key), step.get(key)
        if said is not None and stated is not None and said != stated:
            yield f"{named}: {key} is {said}, and the procedure kept with the run says {stated}"


def is_another_certificate(basis: Traceability, certificate: _Table) -> bool:
    """Whether a certificate is kept, and is not the one that is named."""
    said = basis.model_dump(include={"laboratory", "calibrated_on", "due_on"})
    said |= {"number": basis.certificate}
    differs = any(str(certificate.get(key)) != str(value) for key, value in said.items())
    return bool(certificate) and differs
