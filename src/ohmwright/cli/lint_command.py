"""`lint`: a procedure on its own, and against a bench, with nothing opened."""

from __future__ import annotations

from pathlib import Path

from ohmwright.engine.capability import Abilities, complaints
from ohmwright.model.errors import ProcedureError
from ohmwright.model.procedure import STAGES
from ohmwright.model.procedure_file import read_procedure

from .bench_data import read_bench
from .console import out


def run_lint(procedure_path: Path, bench_path: Path | None, *, unattended: bool) -> int:
    """Say what is wrong, or that nothing is; raises SourceError with every line."""
    file = read_procedure(procedure_path)
    if bench_path is not None:
        abilities = _abilities(bench_path, unattended=unattended)
        lines = list(complaints(file, STAGES, abilities))
        if lines:
            raise ProcedureError("\n".join(lines), do="Correct the procedure or change bench.")
    steps = len(file.procedure.step)
    against = "" if bench_path is None else f", and {bench_path} can do it"
    out().print(f"{procedure_path}: {steps} steps, nothing wrong{against}.", soft_wrap=True)
    return 0


def _abilities(bench_path: Path, *, unattended: bool) -> Abilities:
    bench = read_bench(bench_path)
    return Abilities(
        bench.analyzer,
        bench.generator,
        has_port=bench.file.generator.link is not None,
        attended=not unattended,
        certificate=bench.certificate,
    )
