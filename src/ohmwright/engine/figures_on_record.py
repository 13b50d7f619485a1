"""Whether the figures of a result follow from its own budget, readings and kept documents."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from math import inf, isclose, sqrt
from typing import Any

from ohmwright.model.event import Event, PointDone
from ohmwright.model.result import Measured, Result
from ohmwright.model.traceability import Traceability
from ohmwright.uncertainty.budget import effective_dof, variances_by_scatter
from ohmwright.uncertainty.inputs import coverage_factor

from .activations_on_record import has_earlier_readings
from .kept_documents import DocumentedPart, read_kept_procedure, with_parts
from .measured_value import COVERAGE, ESTIMATED, LOAD, METER, READINGS, part_of_u
from .opening_events import SOFTWARE

_SAME, _DRAWN = 1e-3, 0.05
"""Relative difference that is none: of a computed figure, and of one by Monte Carlo."""
_SAME_DOF, _MANY_DOF = 0.02, 500.0
"""Relative difference of degrees of freedom that is none, and so many that more change no k."""
_LAST_READING = 0.3
"""Relative difference, in current, that lag and droop never make of a value and its last reading;
from memory of the lags that units have, no source."""
_PRIOR_DOF = 3
"""For how many readings the prior of a fit's noise counts."""
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
                if part.began.software == SOFTWARE:  # another may rightly have counted otherwise
                    yield from ((number, said) for said in _too_many_dof(event.result))
                certificate, procedure = part.table("analyzer certificate"), part.table("procedure")
                yield from (
                    (number, said)
                    for said in (
                        *_against_documents(event.result, certificate, procedure),
                        *_against_unread(event.result, part),
                    )
                )


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
        if measured.propagation == "linear":
            yield from (f"{named}: {said}" for said in _other_factor(measured, factor))
    if result.target is not None and measured.quantity not in (None, result.target.quantity):
        limits = result.target.quantity
        yield f"{named}: its value is a {measured.quantity}, and its limits are of {limits}"
    yield from _against_readings(named, result, measured)


def _other_factor(measured: Measured, factor: float) -> Iterator[str]:
    """Yield what degrees of freedom and the lines of a budget say against a coverage factor."""
    by_dof = coverage_factor(measured.dof, COVERAGE)
    if not isclose(factor, by_dof, rel_tol=_SAME):
        yield f"k is {factor:.3f}, and its degrees of freedom make it {by_dof:.3f}"
    dof, by_lines = (min(one, _MANY_DOF) for one in (measured.dof, _dof_by_lines(measured)))
    if measured.budget and not isclose(dof, by_lines, rel_tol=_SAME_DOF):
        yield f"its degrees of freedom are {dof:.3g}, and its budget makes them {by_lines:.3g}"


def _too_many_dof(result: Result) -> Iterator[str]:
    """Yield that a value has more degrees of freedom than its readings give: a smaller k and U.

    Of an adjustment, or where RF was on for longer than was read, other readings may count, too.
    """
    measured, samples = result.measured, result.samples
    if measured is None or not samples or result.stage == "adjust":
        return
    activations = 1 + bool(result.earlier_samples)
    if activations == 1 and has_earlier_readings(result):
        return
    most = len(samples) + len(result.earlier_samples) + _PRIOR_DOF * activations
    scatter = (line for line in measured.budget if line.source in (READINGS, ESTIMATED))
    dof = max((line.dof or 0.0 for line in scatter), default=0.0)
    if dof > most:
        yield (
            f"{result.step}, {result.point}: its scatter has {dof:.0f} degrees of freedom, and its "
            f"readings give at most {most}"
        )


def _dof_by_lines(measured: Measured) -> float:
    """Return the effective degrees of freedom by the lines of a budget.

    Those of the readings of one fit are of one scatter and count as one (GUM G.4.1).
    """
    parts = variances_by_scatter(
        (
            "fit" if line.source in (READINGS, ESTIMATED) else "",
            line.standard_uncertainty**2,
            inf if line.dof is None else line.dof,
        )
        for line in measured.budget
    )
    return effective_dof(measured.uncertainty**2, parts)


def _combined(measured: Measured) -> float:
    """The combined standard uncertainty by the lines of the budget and their correlation."""
    squares = sum(part_of_u(line, measured) ** 2 for line in measured.budget)
    by_source = {line.source: line.standard_uncertainty for line in measured.budget}
    both = by_source.get(METER, 0.0) * by_source.get(LOAD, 0.0)
    return sqrt(max(0.0, squares + 2 * (measured.correlation or 0.0) * both))


def _against_readings(named: str, result: Result, measured: Measured) -> Iterator[str]:
    """That the value is nowhere near the last reading of its activation."""
    quantity = result.quantity
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
    elif isinstance(basis, Traceability):
        yield from (f"{named}: {said}" for said in serial_not_named(basis, certificate))
    step = next((s for s in procedure.get("step", ()) if s.get("name") == result.step), None)
    if step is None:
        return
    if step.get("kind", result.kind) != result.kind:
        yield f"{named}: it is of the kind {result.kind}, and the procedure says {step['kind']}"


def _against_unread(result: Result, part: DocumentedPart) -> Iterator[str]:
    """What a procedure that cannot be read here, as with steps of a package, says of a condition.

    `conditions_on_record` compares those of one that can be read.
    """
    document, table = part.document("procedure"), part.table("procedure")
    if document is None or result.stage == "adjust" or read_kept_procedure(document) is not None:
        return
    step: _Table = next((s for s in table.get("step", ()) if s.get("name") == result.step), {})
    # other kinds measure at settings and loads of their own making
    for key in ("mode", "setting_w", "load_ohm") if result.kind == "output" else ("mode",):
        said, stated = getattr(result, key), step.get(key)
        if said is not None and stated is not None and said != stated:
            yield (
                f"{result.step}, {result.point}: {key} is {said}, and the procedure kept with the "
                f"run says {stated}"
            )


def is_another_certificate(basis: Traceability, certificate: _Table) -> bool:
    """Whether a certificate is kept, and is not the one that is named."""
    said = basis.model_dump(include={"laboratory", "calibrated_on", "due_on"})
    said |= {"number": basis.certificate}
    differs = any(str(certificate.get(key)) != str(value) for key, value in said.items())
    return bool(certificate) and differs


def serial_not_named(basis: Traceability, certificate: _Table) -> Iterator[str]:
    """Yield that a certificate is said to name another serial number than the kept one does."""
    names = certificate.get("serial", "")
    if certificate and basis.serial not in (None, names):
        yield (
            f"certificate {basis.certificate} is said to be for serial number "
            f"{basis.serial or 'none'}, and the one kept with the run names {names or 'none'}"
        )
