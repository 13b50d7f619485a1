"""Which unit a run on the page is of, and by which procedure."""

from __future__ import annotations

from dataclasses import dataclass

from ohmwright.api.assets import InRepairError
from ohmwright.api.bench_data import BenchData
from ohmwright.api.unit_on_bench import UnitOnBench, procedure_of, unit_on_bench
from ohmwright.engine.procedure_file import ProcedureFile
from ohmwright.instruments.bench import named_unit
from ohmwright.model.errors import UsageError

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
        return Subject(unit, procedures.read(order.procedure))
    if unit.registered is None:
        raise UsageError("Which procedure? None is chosen.", do="Choose one of the list.")
    return Subject(unit, procedure_of(None, unit))


def _back_in_service(problem: InRepairError) -> str:
    """Return what to do about a unit in repair; no page changes the register."""
    return f"At a terminal. {problem.do}"
