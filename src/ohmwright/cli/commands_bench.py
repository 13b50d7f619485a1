"""Declarations of the commands that need a bench and no procedure."""

from pathlib import Path
from typing import Annotated

import typer

from .option_groups import with_option_groups
from .options import AnalyzerLine, BenchPath, Faults, Json


@with_option_groups
def sweep(
    *,
    bench: BenchPath,
    mode: Annotated[str, typer.Option(help="Output mode.")],
    settings: Annotated[str, typer.Option(help="Power settings in W, separated by commas.")],
    loads: Annotated[
        str, typer.Option(help="Load resistances in ohm, separated by commas; default: all.")
    ] = "",
    age: Annotated[float, typer.Option(help="Age of the reading in s.")] = 6.0,
    rest: Annotated[float, typer.Option(help="Rest between activations in s.")] = 15.0,
    csv: Annotated[Path | None, typer.Option(help="Also write a CSV file.")] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace another file.")] = False,
    line: AnalyzerLine,
    as_json: Json = False,
) -> None:
    """Measure a power curve: every setting into every load resistance."""
    from .sweep_command import SweepRequest, run_sweep

    chosen = line.bench_choice(bench)
    request = SweepRequest(chosen, mode, settings, loads, age, rest, csv, overwrite, as_json)
    raise typer.Exit(run_sweep(request))


def simulate(
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
    seed: Annotated[int | None, typer.Option(min=0, help="Which simulated unit.")] = None,
    fault: Faults = None,
) -> None:
    """Serve a simulated bench to other programs until interrupted."""
    from .simulate_command import SimulateRequest, run_simulate

    faults = tuple(fault or ())
    request = SimulateRequest(
        bench, pty, tcp, host, stepped, write_bench, seed, faults, control_host
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
