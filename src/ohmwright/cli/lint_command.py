"""The command `lint`: check a procedure, and whether a bench can run it; nothing is opened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path

from ohmwright.api.bench_data import BenchData, read_bench
from ohmwright.api.bench_generators import for_model
from ohmwright.api.paths import given_procedure
from ohmwright.engine.capability import complaints, what_to_correct
from ohmwright.engine.foresight import Foreseen, foreseen
from ohmwright.engine.measured_value import Accuracy
from ohmwright.engine.plausibility import implausible
from ohmwright.engine.procedure_file import ProcedureFile, read_procedure
from ohmwright.engine.traceability import refuse_expired
from ohmwright.model.errors import ProcedureError
from ohmwright.model.step import MEASURED, STAGES
from ohmwright.reports.text import counted
from ohmwright.wire.clock import RealClock, VirtualClock

from .console import out, print_json


def run_lint(
    procedure_path: Path,
    bench_path: Path | None,
    *,
    unattended: bool,
    accept_expired: bool,
    as_json: bool,
) -> int:
    """Print that the files are in order, what is hardly meant, what the bench may not decide.

    Returns 0.

    Reads every file that a run reads. Raises SourceError for a faulty file, ProcedureError with one
    line for each thing that the bench cannot do, CertificateExpired for an expired certificate.
    `doctor` checks the instruments.
    """
    file = read_procedure(given_procedure(procedure_path))
    told = tuple(implausible(file))
    if bench_path is not None:
        bench = for_model(read_bench(bench_path), file.procedure.model)
        abilities = bench.abilities(attended=not unattended)
        lines = list(complaints(file, STAGES, abilities))
        if lines:
            raise ProcedureError("\n".join(lines), do=what_to_correct(attended=not unattended))
        today = (VirtualClock() if bench.virtual_time else RealClock()).wall().date()
        if bench.certificate is not None and not accept_expired:
            refuse_expired(bench.certificate.traceability(today))
        told += foreseen(file, STAGES, abilities, _accuracy(bench, today))
    if as_json:
        print_json([{"file": str(file.path), **asdict(one)} for one in told])
    else:
        _print(file, bench_path, told)
    return 0


def _print(file: ProcedureFile, bench_path: Path | None, told: Sequence[Foreseen]) -> None:
    """Print each thing told with its place, then that nothing else is wrong."""
    for one in told:
        where = f"{file.path}:{one.line}:{one.column}"
        out().print(
            f"{where}: {one.severity}: step '{one.step}': {one.what}.",
            style="yellow",
            soft_wrap=True,
        )
    against = "" if bench_path is None else f", and by its files {bench_path} can do it"
    steps = counted(len(file.procedure.step), "step")
    warnings = sum(one.severity == "warning" for one in told)
    wrong = f"{counted(warnings, 'warning')}, else nothing wrong" if warnings else "nothing wrong"
    out().print(f"{file.path}: {steps}, {wrong}{against}.", soft_wrap=True)
    for stage in MEASURED:
        if not file.procedure.steps_in(stage):
            out().print(f"{stage.replace('_', ' ').capitalize()}: no step, nothing is measured.")


def _accuracy(bench: BenchData, today: date) -> Accuracy | None:
    return None if bench.certificate is None else Accuracy(bench.certificate, today)
