"""The command `ohmwright`. Heavy imports wait until a command needs them."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

from ohmwright import __version__
from ohmwright.model import rf_state
from ohmwright.model.errors import ReleaseNotConfirmed
from ohmwright.simulator.faults import KINDS, SYNTAX, LineFault

from .record_app import Run
from .record_app import app as record_app
from .record_options import Json, Records, Trusted
from .streams import allow_for_any_console, results_lost
from .telling import told

if TYPE_CHECKING:
    from .bench_data import BenchChoice

EPILOG = (
    "Exit codes: 0 pass; 1 out of tolerance; 2 usage or file; 3 link; 4 undecided or not "
    "measured; 5 RF state unknown; 6 record; 70 a fault of the program itself."
)


class _Unseen(Exception):  # noqa: N818
    """Carries past typer what it would end with code 1, which is a verdict here."""

    def __init__(self, problem: BaseException) -> None:
        self.problem = problem


class _Commands(TyperGroup):
    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except (OSError, EOFError, KeyboardInterrupt) as problem:
            raise _Unseen(problem) from problem


app = typer.Typer(
    cls=_Commands,
    help="Calibrate and verify electrosurgical (HF surgery) generators.",
    epilog=EPILOG,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    add_completion=False,
)
app.add_typer(record_app, name="record")

ProcedurePath = Annotated[Path, typer.Argument(metavar="PROCEDURE", help="Procedure file (TOML).")]
BenchPath = Annotated[Path, typer.Option("--bench", help="Bench file (TOML).")]
Unattended = Annotated[bool, typer.Option("--unattended", help="Nobody is there to be asked.")]
AcceptExpired = Annotated[
    bool,
    typer.Option("--accept-expired", help="Go on with an analyzer whose calibration is past due."),
]
TemperatureC = Annotated[
    float | None, typer.Option(min=-10, max=60, help="Room temperature in degrees Celsius.")
]
HumidityPercent = Annotated[
    float | None, typer.Option(min=0, max=100, help="Relative humidity of the room.")
]
Resume = Annotated[
    str | None, typer.Option(metavar="RUN", help="Go on with a run that was cut short.")
]
NoGuard = Annotated[
    bool, typer.Option("--no-guard", help="Simulated benches only: no guard process.")
]
Port = Annotated[
    str | None,
    typer.Option(help="The analyzer's serial port, by name or as serial=NUMBER of its adapter."),
]
Faults = Annotated[
    list[LineFault] | None,
    typer.Option(
        "--fault",
        parser=LineFault.parse,
        metavar=SYNTAX,
        help="Simulated benches only, repeatable: what befalls the Nth message to an instrument, "
        f"or its reply. KIND: {', '.join(KINDS)}.",
    ),
]


def _choice(
    bench: Path, port: str | None, fault: list[LineFault] | None, *, no_guard: bool
) -> BenchChoice:
    from .bench_data import BenchChoice

    return BenchChoice(bench, port, not no_guard, tuple(fault or ()))


@app.callback(invoke_without_command=True)
def _root(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        typer.echo(f"ohmwright {__version__}")
        raise typer.Exit


@app.command()
def demo(
    seed: Annotated[int, typer.Option(min=0, help="Which simulated unit.")] = 3,
    records: Records = None,
    fault: Faults = None,
    as_json: Json = False,
) -> None:
    """Run a whole job on a simulated unit: as found, adjustment, as left."""
    from .run_command import run_demo

    raise typer.Exit(run_demo(seed, records, tuple(fault or ()), as_json=as_json))


@app.command()
def calibrate(
    procedure: ProcedurePath,
    bench: BenchPath,
    records: Records = None,
    resume: Resume = None,
    unattended: Unattended = False,
    accept_expired: AcceptExpired = False,
    temperature_c: TemperatureC = None,
    humidity_percent: HumidityPercent = None,
    port: Port = None,
    no_guard: NoGuard = False,
    fault: Faults = None,
    as_json: Json = False,
) -> None:
    """Run a whole procedure: as found, adjustment, as left."""
    from ohmwright.model.step import STAGES
    from ohmwright.model.traceability import Environment

    from .run_command import Request, run_procedure

    chosen = _choice(bench, port, fault, no_guard=no_guard)
    room = Environment(temperature_c=temperature_c, humidity_percent=humidity_percent)
    request = Request(
        procedure, chosen, STAGES, records, resume, unattended, as_json, accept_expired, room
    )
    raise typer.Exit(run_procedure(request))


@app.command()
def verify(
    procedure: ProcedurePath,
    bench: BenchPath,
    as_found: Annotated[
        bool, typer.Option("--as-found", help="Record the stage as found instead of as left.")
    ] = False,
    records: Records = None,
    resume: Resume = None,
    unattended: Unattended = False,
    accept_expired: AcceptExpired = False,
    temperature_c: TemperatureC = None,
    humidity_percent: HumidityPercent = None,
    port: Port = None,
    no_guard: NoGuard = False,
    fault: Faults = None,
    as_json: Json = False,
) -> None:
    """Measure every test point and adjust nothing."""
    from ohmwright.model.step import Stage
    from ohmwright.model.traceability import Environment

    from .run_command import Request, run_procedure

    stage: Stage = "as_found" if as_found else "as_left"
    chosen = _choice(bench, port, fault, no_guard=no_guard)
    room = Environment(temperature_c=temperature_c, humidity_percent=humidity_percent)
    request = Request(
        procedure, chosen, (stage,), records, resume, unattended, as_json, accept_expired, room
    )
    raise typer.Exit(run_procedure(request))


@app.command()
def certificate(
    run: Run = "last",
    pdf: Annotated[Path | None, typer.Option(help="PDF/A with the record attached.")] = None,
    html: Annotated[Path | None, typer.Option(help="The same as one HTML file.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Results for a spreadsheet.")] = None,
    dcc: Annotated[Path | None, typer.Option(help="Digital calibration certificate (XML).")] = None,
    label: Annotated[Path | None, typer.Option(help="Label: .svg, .pdf or .png.")] = None,
    all_: Annotated[
        Path | None, typer.Option("--all", metavar="FOLDER", help="Every one, into a folder.")
    ] = None,
    next_due: Annotated[
        datetime | None, typer.Option(formats=["%Y-%m-%d"], help="Next due, for the label.")
    ] = None,
    size: Annotated[str, typer.Option("--label-size", help="In mm.")] = "50x25",
    country: Annotated[
        str | None, typer.Option(help="ISO 3166-1 code for the digital certificate, as in DE.")
    ] = None,
    schema_file: Annotated[
        Path | None, typer.Option("--schema", help="Hold it against this dcc.xsd.")
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace other files.")] = False,
    records: Records = None,
    trusted: Trusted = None,
    as_json: Json = False,
) -> None:
    """Write the certificate of a finished run; by default PDF and HTML, into this folder."""
    from .certificate_command import Options, Wanted, country_code, label_size, run_certificate

    due = None if next_due is None else next_due.date()
    options = Options(due, label_size(size), country_code(country), schema_file, overwrite)
    wanted = Wanted(pdf, html, csv, dcc, label, all_)
    run_certificate(run, records, trusted, wanted, options, as_json=as_json)


@app.command()
def sweep(
    bench: BenchPath,
    mode: Annotated[str, typer.Option(help="Output mode.")],
    settings: Annotated[str, typer.Option(help="Power settings in W, separated by commas.")],
    loads: Annotated[
        str, typer.Option(help="Load resistances in ohm, separated by commas; default: all.")
    ] = "",
    age: Annotated[float, typer.Option(help="Age of the reading in s.")] = 6.0,
    rest: Annotated[float, typer.Option(help="Rest between activations in s.")] = 15.0,
    csv: Annotated[Path | None, typer.Option(help="Also write a CSV file.")] = None,
    port: Port = None,
    no_guard: NoGuard = False,
    fault: Faults = None,
    as_json: Json = False,
) -> None:
    """Measure a power curve: every setting into every load resistance."""
    from .sweep_command import SweepRequest, run_sweep

    chosen = _choice(bench, port, fault, no_guard=no_guard)
    request = SweepRequest(chosen, mode, settings, loads, age, rest, csv, as_json)
    raise typer.Exit(run_sweep(request))


@app.command()
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


@app.command()
def lint(
    procedure: ProcedurePath,
    bench: Annotated[Path | None, typer.Option("--bench", help="Bench file (TOML).")] = None,
    unattended: Unattended = False,
    accept_expired: AcceptExpired = False,
) -> None:
    """Check a procedure, and whether a bench can do what it asks, without touching anything."""
    from .lint_command import run_lint

    code = run_lint(procedure, bench, unattended=unattended, accept_expired=accept_expired)
    raise typer.Exit(code)


@app.command()
def doctor(
    bench: BenchPath,
    port: Port = None,
    with_rf: Annotated[
        bool,
        typer.Option("--with-rf", help="Also 1 s of RF at a low setting, to prove the limit."),
    ] = False,
    no_guard: NoGuard = False,
    fault: Faults = None,
    as_json: Json = False,
) -> None:
    """Open a bench and check every instrument; RF stays off unless you ask for a second of it."""
    from .doctor_command import run_doctor

    chosen = _choice(bench, port, fault, no_guard=no_guard)
    raise typer.Exit(run_doctor(chosen, with_rf=with_rf, as_json=as_json))


@app.command()
def checks(as_json: Json = False) -> None:
    """Check this installation: known values through the code that a job runs."""
    from .checks_command import run_checks

    raise typer.Exit(run_checks(as_json=as_json))


@app.command()
def schema(
    folder: Annotated[Path, typer.Argument(help="Where to write.")] = Path("schemas"),
) -> None:
    """Write the JSON Schemas of procedure, bench, data and event files."""
    from .schema_command import write_schemas

    raise typer.Exit(write_schemas(folder))


@app.command()
def guide(
    topic: Annotated[
        str | None, typer.Argument(metavar="TOPIC", help="Default: list them.")
    ] = None,
) -> None:
    """Show a page of the guide: procedures, benches, records, safety and so on."""
    from .guide_command import show_guide

    raise typer.Exit(show_guide(topic))


def main() -> None:
    """Run the command line; every error ends in its message and its exit code."""
    allow_for_any_console()
    rf_state.forget()
    code = _code()
    lost = results_lost()
    if lost is not None and code < ReleaseNotConfirmed.exit_code:
        code = told(lost)
    sys.exit(code)


def _code() -> int:
    try:
        app()
    except SystemExit as ended:  # typer's way to end
        return ended.code if isinstance(ended.code, int) else 0
    except _Unseen as unseen:
        return told(unseen.problem)
    except (Exception, KeyboardInterrupt) as problem:
        return told(problem)
    return 0
