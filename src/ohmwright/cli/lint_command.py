"""The command `lint`: check a procedure, and whether a bench can run it; nothing is opened."""

from __future__ import annotations

from pathlib import Path

from ohmwright.engine.capability import complaints
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.requirements import Abilities
from ohmwright.engine.traceability import refuse_expired
from ohmwright.model.errors import ProcedureError
from ohmwright.model.step import STAGES
from ohmwright.wire.clock import RealClock, VirtualClock

from .bench_data import BenchData, read_bench
from .console import out


def run_lint(
    procedure_path: Path, bench_path: Path | None, *, unattended: bool, accept_expired: bool
) -> int:
    """Print that the files are in order and return 0; reads every file that a run reads.

    Raises SourceError for a faulty file, ProcedureError with one line for each thing that the bench
    cannot do, CertificateExpired for an expired certificate. `doctor` checks the instruments.
    """
    file = read_procedure(procedure_path)
    against = ""
    if bench_path is not None:
        bench = read_bench(bench_path)
        lines = list(complaints(file, STAGES, _abilities(bench, unattended=unattended)))
        if lines:
            raise ProcedureError("\n".join(lines), do="Correct the procedure or change bench.")
        if not accept_expired:
            _refuse_expired(bench)
        against = f", and by its files {bench_path} can do it"
    steps = len(file.procedure.step)
    out().print(f"{procedure_path}: {steps} steps, nothing wrong{against}.", soft_wrap=True)
    return 0


def _refuse_expired(bench: BenchData) -> None:
    """Raise CertificateExpired for one that is expired by the clock of the bench."""
    if bench.certificate is not None:
        clock = VirtualClock() if bench.virtual_time else RealClock()
        refuse_expired(bench.certificate.traceability(clock.wall().date()))


def _abilities(bench: BenchData, *, unattended: bool) -> Abilities:
    generator = bench.generator_commands
    return Abilities(
        bench.analyzer,
        bench.generator,
        has_port=bench.file.generator.link is not None,
        attended=not unattended,
        certificate=bench.certificate,
        analyzer_verbs=bench.analyzer_commands.verbs,
        generator_verbs=None if generator is None else generator.verbs,
    )
