"""Declaration of the command `page`, which serves the bench page to browsers."""

from pathlib import Path
from typing import Annotated

import typer

from .options import RecordsPlace


def page(
    bench: Annotated[
        list[Path] | None, typer.Option("--bench", metavar="FILE", help="Bench file; repeatable.")
    ] = None,
    procedure: Annotated[
        list[Path] | None,
        typer.Option(
            "--procedure",
            metavar="FILE",
            help="Also offer this procedure; those beside the bench files always are. Repeatable.",
        ),
    ] = None,
    demo: Annotated[bool, typer.Option("--demo", help="Simulated benches and procedures.")] = False,
    speed: Annotated[
        float,
        typer.Option(min=0.1, max=1000, help="How many times as fast simulated benches work."),
    ] = 1.0,
    host: Annotated[
        str, typer.Option(help="Address of this computer under which other screens reach it.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="0: any that is free.")] = 8710,
    records: RecordsPlace = None,
) -> None:
    """Show benches in a browser: run, watch, stop and coach there. Ends with Ctrl-C."""
    from .page_command import PageRequest, run_page

    request = PageRequest(
        tuple(bench or ()), tuple(procedure or ()), demo, speed, host, port, records
    )
    raise typer.Exit(run_page(request))
