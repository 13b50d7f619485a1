"""The command `ohmwright`. Heavy imports wait until a command needs them."""

import sys
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from ohmwright import __version__
from ohmwright.model import rf_state
from ohmwright.model.errors import ReleaseNotConfirmed

from .benches import doctor, simulate, sweep
from .jobs import calibrate, demo, verify
from .offline import certificate, checks, guide, lint, schema
from .record_app import app as record_app
from .streams import allow_for_any_console, results_lost
from .telling import told

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
for command in (
    demo,
    calibrate,
    verify,
    certificate,
    sweep,
    simulate,
    lint,
    doctor,
    checks,
    schema,
    guide,
):
    app.command()(command)
app.add_typer(record_app, name="record")


@app.callback(invoke_without_command=True)
def _root(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        typer.echo(f"ohmwright {__version__}")
        raise typer.Exit


def main() -> None:
    """Run the command line; every error ends in its message and its exit code."""
    allow_for_any_console()
    rf_state.forget()
    code = _code()
    lost = results_lost()
    if lost is not None and code < ReleaseNotConfirmed.exit_code:
        code = told(lost)
        results_lost()
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
