"""Where a record contradicts itself: its results, documents and figures, each against the rest."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain

from ohmwright.model.event import Event

from .answers_on_record import differing_answers
from .beginning_on_record import differing_beginnings
from .certificate_on_record import differing_certificates
from .conditions_on_record import differing_conditions
from .figures_on_record import differing_figures
from .first_contact_on_record import unseen_beginnings
from .limits_on_record import differing_limits
from .missing_points import missing_points
from .people_on_record import differing_people
from .recomputed_values import differing, recomputable
from .repeated_readings import repeated_readings
from .requests_on_record import missing_requests
from .rf_on_record import misfit_results
from .thresholds_on_record import differing_levels, differing_thresholds
from .verdict_on_record import differing_verdicts


def contradictions(events: Sequence[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each event of a whole run that the rest of it contradicts.

    Values are computed once more from their readings, which takes time.
    """
    values, _ = recomputable(events)  # what cannot be computed again contradicts nothing
    return chain(quick_contradictions(events), differing(values))


def quick_contradictions(events: Sequence[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each contradicted event, without computing values anew.

    Verdicts, limits, documents, people, requests, RF and missing points are held against the rest.
    """
    checks = (
        differing_verdicts,
        differing_thresholds,
        differing_levels,
        differing_limits,
        differing_conditions,
        differing_figures,
        differing_beginnings,
        differing_people,
        differing_answers,
        missing_requests,
        unseen_beginnings,
        differing_certificates,
        misfit_results,
        repeated_readings,
        missing_points,
    )
    return chain.from_iterable(check(events) for check in checks)
