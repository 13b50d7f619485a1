"""Declaration of the command `rehearse`, which runs on invented units alone."""

from pathlib import Path
from typing import Annotated

import typer

from .options import BenchPath, Json, ProcedurePath, Unattended


def rehearse(
    *,
    procedure: ProcedurePath,
    bench: BenchPath,
    units: Annotated[int, typer.Option(min=1, help="How many invented units.")] = 100,
    seed: Annotated[int, typer.Option(min=0, help="Which invented units.")] = 1,
    workers: Annotated[
        int | None, typer.Option(min=1, help="Processes; default: one for each core.")
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(metavar="ADDRESS", help="Use the workers of this dask.distributed scheduler."),
    ] = None,
    like: Annotated[
        str | None,
        typer.Option(metavar="PLACE", help="Draw units like those in these records."),
    ] = None,
    compare: Annotated[
        Path | None, typer.Option(help="Another form of the procedure, on the same units.")
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(help="Also draw a figure (.svg, .png, .pdf).")
    ] = None,
    slips: Annotated[
        float,
        typer.Option(min=0, max=1, help="Share of cues at which a person at the keys slips."),
    ] = 0.0,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace another file.")] = False,
    unattended: Unattended = False,
    as_json: Json = False,
) -> None:
    """Try a procedure on many invented units: wrong verdicts, time, heat. No RF anywhere."""
    from .rehearse_command import RehearseRequest, run_rehearse

    request = RehearseRequest(
        procedure=procedure,
        bench=bench,
        units=units,
        seed=seed,
        workers=workers,
        cluster=cluster,
        like=like,
        compare=compare,
        plot=plot,
        slips=slips,
        overwrite=overwrite,
        unattended=unattended,
        as_json=as_json,
    )
    raise typer.Exit(run_rehearse(request))
