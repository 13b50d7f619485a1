"""Which unit a run on the page is of, and by which procedure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from ohmwright.api.assets import InRepairError
from ohmwright.api.bench_data import BenchData
from ohmwright.api.bench_generators import NoGeneratorError
from ohmwright.api.open_records import open_existing_records
from ohmwright.api.unit_on_bench import UnitOnBench, procedure_of, unit_on_bench
from ohmwright.engine.procedure_file import ProcedureFile
from ohmwright.engine.run_so_far import run_started_event
from ohmwright.instruments.bench import named_unit
from ohmwright.model.errors import UsageError

from .desk import Desk
from .offered import OfferedProcedures
from .orders import Begin

_TAG_WANTED = "Type or scan the tag of the unit. The view Worklist shows the units."


@dataclass(frozen=True)
class Subject:
    """What a run is about."""

    unit: UnitOnBench
    file: ProcedureFile


def subject_of(
    order: Begin, bench: BenchData, procedures: OfferedProcedures, records: str | None
) -> Subject:
    """Return the unit and the procedure of a run that is asked for. Reads files and the register.

    Raises UsageError where either is not named, and for a unit in repair or withdrawn.
    """
    tag = order.asset.strip() or None
    if tag is None and order.resume is None:
        named_unit(bench.file.asset, bench.file.name, _TAG_WANTED)
    try:
        unit = unit_on_bench(bench, tag, records, order.resume)
    except InRepairError as problem:
        raise UsageError(problem.happened, problem.means, _back_in_service(problem)) from None
    if order.procedure is not None:
        return Subject(unit, _as_listed(procedures.read(order.procedure), order))
    if order.resume is not None:
        return Subject(unit, _procedure_of_run(order.resume, unit, procedures, records))
    if unit.registered is None:
        raise UsageError("Which procedure? None is chosen.", do="Choose one of the list.")
    return Subject(unit, procedure_of(None, unit))


def _as_listed(file: ProcedureFile, order: Begin) -> ProcedureFile:
    """Return `file`. Raises UsageError where it is another text than the screen listed."""
    if order.digest not in ("", file.digest):
        raise UsageError(
            f"The file of {file.procedure.title} was changed since this screen listed it.",
            "Nothing was switched on.",
            "See what would be done now, then begin.",
        )
    return file


def _procedure_of_run(
    run_id: str, unit: UnitOnBench, procedures: OfferedProcedures, records: str | None
) -> ProcedureFile:
    """Return the offered procedure by which a run was begun, else that of its unit."""
    with open_existing_records(records) as store:
        started = run_started_event(store.events(run_id))
    found = None if started is None else procedures.of_digest(started.procedure_digest)
    if found is not None:
        return found
    if unit.registered is not None:
        return procedure_of(None, unit)  # refused by the run itself where it is another text
    raise UsageError(
        f"The procedure of run {run_id} is none of those offered here, or its text was changed.",
        "Nothing was switched on.",
        "Name its file when the page is begun (--procedure FILE), or begin a new run.",
    )


def unit_facts(subject: Subject) -> dict[str, Any]:
    """Return what a person compares with the unit before its run.

    Its serial number is left out: who is asked for it shall read it from the plate.
    """
    unit, procedure = subject.unit.registered, subject.file.procedure
    assert unit is not None  # a tag is of the register
    return {
        "tag": unit.tag,
        "unit": f"{unit.maker} {unit.model}",
        "site": unit.site,
        "procedure": f"{procedure.title}, revision {procedure.revision}",
        "remarks": list(subject.unit.other_maker()),
    }


def other_bench(problem: NoGeneratorError, desk: Desk, desks: Iterable[Desk]) -> UsageError:
    """Return that a unit belongs to another bench, and to which of those that are served."""
    unit, models = problem.unit, ", ".join(desk.models)
    fits = [d.data.file.name for d in desks if unit.model in d.models and not d.is_practice]
    return UsageError(
        f"{unit.tag} is a {unit.model}; {desk.data.file.name} is for {models}.",
        problem.means,
        f"Take it to {' or '.join(fits)}." if fits else problem.do,
    )


def refuse_worked_elsewhere(subject: Subject, desk: Desk, desks: Iterable[Desk]) -> None:
    """Raise UsageError where a run of the same unit goes on at another bench of the page."""
    unit = subject.unit.bench.file.asset
    if unit is None or desk.is_practice:
        return
    for other in desks:
        is_work = other is not desk and other.is_busy and not other.is_practice
        if is_work and other.unit is not None and other.unit.id == unit.id:
            raise UsageError(
                f"A run of {unit.id} goes on at {other.data.file.name}.",
                "One unit stands at one bench; nothing was switched on here.",
                "Look at the tag of the unit that stands here.",
            )


def _back_in_service(problem: InRepairError) -> str:
    """Return what to do about a unit in repair; no page changes the register."""
    return f"At a terminal. {problem.do}"
