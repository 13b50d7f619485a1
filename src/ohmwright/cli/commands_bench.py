"""Declarations of the commands that need a bench and no procedure."""

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer

from .option_groups import with_option_groups
from .options import AcceptExpired, AnalyzerLine, BenchPath, Faults, Json, RecordsPlace, WorkOptions


@dataclass(frozen=True)
class SweepPlanOptions:
    """What a sweep measures, and when."""

    mode: Annotated[
        list[str] | None,
        typer.Option(
            metavar="MODE[=W,…]",
            help="Output mode, with settings of its own where they are not --settings. Repeatable.",
        ),
    ] = None
    settings: Annotated[str, typer.Option(help="Power settings in W, separated by commas.")] = ""
    loads: Annotated[
        str | None, typer.Option(help="Load resistances in ohm, separated by commas; default: all.")
    ] = None
    repeats: Annotated[int, typer.Option(help="How often the whole is measured.")] = 1
    order: Annotated[
        str, typer.Option(help="Of the points of each pass: as-given, snake or random.")
    ] = "as-given"
    order_seed: Annotated[int, typer.Option(help="Chooses the random order.")] = 1
    age: Annotated[float, typer.Option(help="Age of activation for which a value holds, in s.")] = (
        6.0
    )
    rest: Annotated[float, typer.Option(help="Rest between activations in s.")] = 15.0
    on_fault: Annotated[str, typer.Option(help="Where a point fails: stop, or go-on.")] = "stop"
    plan: Annotated[
        Path | None, typer.Option(help="A file (TOML) that says all of this instead.")
    ] = None


@dataclass(frozen=True)
class SweepFileOptions:
    """What is written of a sweep, and what its picture shows."""

    csv: Annotated[Path | None, typer.Option(help="Also write a CSV file.")] = None
    parquet: Annotated[Path | None, typer.Option(help="Also write a Parquet file.")] = None
    plot: Annotated[Path | None, typer.Option(help="Also draw it: .svg, .png or .pdf.")] = None
    band: Annotated[
        str,
        typer.Option(
            metavar="PROCEDURE|PERCENT",
            help="Limits in the picture: a procedure's, or percent about each setting.",
        ),
    ] = ""
    against: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="FILE", help="Compare with the curve of a CSV or Parquet file. Repeatable."
        ),
    ] = None
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace other files.")] = False


@with_option_groups
def sweep(
    *,
    bench: BenchPath,
    what: SweepPlanOptions,
    work: WorkOptions,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Print what it will cost; open nothing.")
    ] = False,
    files: SweepFileOptions,
    records: RecordsPlace = None,
    resume: Annotated[
        str | None,
        typer.Option(metavar="RUN", help="Measure what a sweep on record lacks, or 'last'."),
    ] = None,
    accept_expired: AcceptExpired = False,
    line: AnalyzerLine,
    as_json: Json = False,
) -> None:
    """Measure power curves: every setting of each mode into every load resistance."""
    from .sweep_command import SweepRequest, run_sweep
    from .sweep_options import PlanOptions, SweepFiles

    plan = PlanOptions(
        tuple(what.mode or ()),
        what.settings,
        what.loads,
        what.repeats,
        what.order,
        what.order_seed,
        what.age,
        what.rest,
        what.on_fault,
        what.plan,
    )
    written = SweepFiles(
        files.csv,
        files.parquet,
        files.plot,
        files.band,
        tuple(files.against or ()),
        files.overwrite,
    )
    request = SweepRequest(
        line.bench_choice(bench),
        plan,
        written,
        records,
        resume,
        accept_expired,
        dry_run,
        as_json,
        work.request(),
    )
    raise typer.Exit(run_sweep(request))


def simulate(
    *,
    bench: Annotated[Path | None, typer.Option("--bench", help="Bench file to simulate.")] = None,
    pty: Annotated[bool, typer.Option("--pty", help="Serve on pseudo-terminals.")] = False,
    tcp: Annotated[bool, typer.Option("--tcp", help="Serve on TCP sockets.")] = False,
    host: Annotated[str, typer.Option(help="Address for --tcp.")] = "127.0.0.1",
    control_host: Annotated[
        str, typer.Option(help="Address of the port that moves time and tells the truth.")
    ] = "127.0.0.1",
    stepped: Annotated[
        bool, typer.Option("--stepped", help="Time moves only when a client steps it.")
    ] = False,
    write_bench: Annotated[
        Path | None, typer.Option(help="Write a bench file that reaches the simulation.")
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace another file.")] = False,
    seed: Annotated[int | None, typer.Option(min=0, help="Which simulated unit.")] = None,
    fault: Faults = None,
) -> None:
    """Serve a simulated bench to other programs until interrupted."""
    from .simulate_command import SimulateRequest, run_simulate

    faults = tuple(fault or ())
    request = SimulateRequest(
        bench, pty, tcp, host, stepped, write_bench, seed, faults, control_host, overwrite
    )
    raise typer.Exit(run_simulate(request))


@with_option_groups
def doctor(
    bench: BenchPath,
    line: AnalyzerLine,
    with_rf: Annotated[
        bool,
        typer.Option(
            "--with-rf", help="Also some seconds of RF: OFF, limit and guard must each end it."
        ),
    ] = False,
    conformance: Annotated[
        bool,
        typer.Option(
            "--conformance",
            help="Every check that a back end or command set must pass, each with what it saw.",
        ),
    ] = False,
    as_json: Json = False,
) -> None:
    """Open a bench and check every instrument; RF stays off unless you ask for it."""
    from .doctor_command import run_doctor

    chosen = line.bench_choice(bench)
    code = run_doctor(chosen, with_rf=with_rf, conformance=conformance, as_json=as_json)
    raise typer.Exit(code)


def probe(
    *,
    bench: BenchPath,
    generator: Annotated[
        bool, typer.Option("--generator", help="The generator's line, not the analyzer's.")
    ] = False,
    only: Annotated[
        list[str] | None,
        typer.Option(metavar="QUESTION", help="Only this question, as load; repeatable."),
    ] = None,
    send: Annotated[
        str | None,
        typer.Option(metavar="TEXT", help="Send this text in place of the one question's own."),
    ] = None,
    as_json: Json = False,
) -> None:
    """Show the bytes of each question of a command set, and what was understood; no RF."""
    from .probe_command import ProbeRequest, run_probe

    request = ProbeRequest(bench, generator, tuple(only or ()), send, as_json)
    raise typer.Exit(run_probe(request))
