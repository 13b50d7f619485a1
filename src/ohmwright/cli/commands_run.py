"""Declarations of `demo`, `practise`, `calibrate` and `verify`: whatever runs a procedure."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .option_groups import with_option_groups
from .options import (
    AnalyzerLine,
    BenchPath,
    Faults,
    HearingOptions,
    Json,
    OptionalProcedure,
    RecordsPlace,
    RunOptions,
    WorkOptions,
)

if TYPE_CHECKING:
    from ohmwright.model.step import Stage


def demo(
    *,
    seed: Annotated[int, typer.Option(min=0, help="Which simulated unit, or fleet.")] = 3,
    records: RecordsPlace = None,
    campaign: Annotated[
        bool,
        typer.Option(
            "--campaign",
            help="Put five years of fifty invented units on record instead, at a new place.",
        ),
    ] = False,
    fault: Faults = None,
    as_json: Json = False,
) -> None:
    """Run a whole job on a simulated unit: as found, adjustment, as left."""
    from .run_command import run_demo

    if campaign:
        from .demo_campaign import run_demo_campaign

        raise typer.Exit(run_demo_campaign(seed, records, tuple(fault or ()), as_json=as_json))
    raise typer.Exit(run_demo(seed, records, tuple(fault or ()), as_json=as_json))


@with_option_groups
def practise(
    *,
    seed: Annotated[int, typer.Option(min=0, help="Which invented unit.")] = 3,
    points: Annotated[int, typer.Option(min=1, max=6, help="How many points to adjust.")] = 1,
    real_rests: Annotated[
        bool, typer.Option("--real-rests", help="All rests take as long as at a real bench.")
    ] = False,
    hearing: HearingOptions,
    as_json: Json = False,
) -> None:
    """Learn to adjust as you are coached: keys of the keyboard are keys of an invented unit."""
    from .practise_command import Practice
    from .practise_command import practise as practise_it
    from .sound.sounding import Hearing

    wanted = Hearing(sound=hearing.sound, speech=hearing.speak)
    practice = Practice(seed, points, wanted, quick_rests=not real_rests, as_json=as_json)
    raise typer.Exit(practise_it(practice))


@with_option_groups
def calibrate(
    *,
    procedure: OptionalProcedure = None,
    bench: BenchPath,
    work: WorkOptions,
    options: RunOptions,
    line: AnalyzerLine,
    hearing: HearingOptions,
    as_json: Json = False,
) -> None:
    """Run a whole procedure: as found, adjustment, as left."""
    from ohmwright.model.step import STAGES

    how = options, line, hearing
    raise typer.Exit(_run(procedure, bench, STAGES, work, *how, as_json=as_json))


@with_option_groups
def verify(
    *,
    procedure: OptionalProcedure = None,
    bench: BenchPath,
    work: WorkOptions,
    options: RunOptions,
    line: AnalyzerLine,
    hearing: HearingOptions,
    as_json: Json = False,
) -> None:
    """Measure every test point once, as found, and adjust nothing."""
    how = options, line, hearing
    raise typer.Exit(_run(procedure, bench, ("as_found",), work, *how, as_json=as_json))


def _run(
    procedure: Path | None,
    bench: Path,
    stages: "tuple[Stage, ...]",
    work: WorkOptions,
    options: RunOptions,
    line: AnalyzerLine,
    hearing: HearingOptions,
    *,
    as_json: bool,
) -> int:
    from ohmwright.model.traceability import RoomFigures

    from .again import command_to_go_on
    from .run_command import RunRequest, run_procedure
    from .sound.sounding import Hearing

    return run_procedure(
        RunRequest(
            procedure,
            line.bench_choice(bench),
            stages,
            options.records,
            options.resume,
            options.unattended,
            as_json,
            options.accept_expired,
            RoomFigures(
                temperature_c=options.temperature_c, humidity_percent=options.humidity_percent
            ),
            work=work.request(options.values),
            go_on=command_to_go_on(
                "calibrate" if "adjust" in stages else "verify",
                procedure,
                {
                    "--bench": bench,
                    "--port": line.port,
                    "--no-guard": line.no_guard,
                    "--operator": work.operator,
                    "--in-repair": work.in_repair,
                    "--unattended": options.unattended,
                    "--accept-expired": options.accept_expired,
                    "--values": options.values,
                },
            ),
            hearing=Hearing(sound=hearing.sound, speech=hearing.speak),
        )
    )
