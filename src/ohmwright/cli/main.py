"""The program `ohmwright`: its commands, and the exit code of every way to end.

Commands are declared in the `commands_*` modules; the module that carries one out is imported when
the command is called.
"""

import os
import sys
from contextvars import copy_context
from functools import cache
from typing import Annotated, Any

import typer
from typer.core import TyperGroup

from ohmwright import __version__
from ohmwright.model import rf_state
from ohmwright.model.errors import RfUnsafe, UsageError

from .commands_bench import doctor, probe, simulate, sweep
from .commands_offline import certificate, checks, guide, lint, schema
from .commands_page import page
from .commands_rehearse import rehearse
from .commands_run import calibrate, demo, practise, verify
from .commands_worklist import next_, worklist
from .error_report import report_error
from .late_commands import late_group
from .streams import finish_output, install_nonblocking_streams

EPILOG = (
    "Exit codes: 0 pass; 1 out of tolerance; 2 usage or file; 3 link; 4 undecided or not "
    "measured; 5 RF state unknown; 6 record; 70 a fault of the program itself."
)


class _PassedTyper(Exception):  # noqa: N818
    """Carries an exception past typer, which would end it with code 1, a verdict here."""

    def __init__(self, problem: BaseException) -> None:
        self.problem = problem


class _Commands(TyperGroup):
    """The commands; an exception that typer would turn into its own code 1 is passed by it."""

    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except (OSError, EOFError, KeyboardInterrupt) as problem:
            raise _PassedTyper(problem) from problem


app = typer.Typer(
    cls=_Commands,
    help="Calibrate and verify electrosurgical (HF surgery) generators.",
    epilog=EPILOG,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
for command in (
    demo,
    practise,
    calibrate,
    verify,
    certificate,
    sweep,
    worklist,
    page,
    rehearse,
    simulate,
    lint,
    doctor,
    probe,
    checks,
    schema,
    guide,
):
    app.command()(command)
app.command("next")(next_)


def _new() -> typer.Typer:
    from .commands_new import app

    return app


def _record() -> typer.Typer:
    from .commands_record import app

    return app


def _asset() -> typer.Typer:
    from .commands_assets import app

    return app


def _campaign() -> typer.Typer:
    from .commands_campaign import app

    return app


_GROUPS = (
    late_group("new", _new, "Write the files of an instrument of your own, from a few questions."),
    late_group("record", _record, "See, check, export and import what is on record."),
    late_group("asset", _asset, "Keep the register of the units that are looked after."),
    late_group("campaign", _campaign, "Work through many units: plan, go on, see how far it is."),
)


@app.callback(invoke_without_command=True)
def _root(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        from .build import build_commit

        typer.echo(f"ohmwright {__version__}, commit {build_commit()}")
        raise typer.Exit


@cache
def program() -> Any:
    """Return all commands as one object, made once: `app()` would build every command each time.

    A process that runs many commands, as tests do, is quicker by that.
    """
    root: Any = typer.main.get_command(app)
    for group in _GROUPS:
        root.add_command(group)
    return root


def main() -> None:
    """Run the command line and exit; every error ends with its message and its exit code."""
    copy_context().run(_main)  # what one command sets in context variables is gone in the next


def _main() -> None:
    """Run one command and exit with its code, or with that of lost output.

    Verdicts, files and lines, the codes below that of RF, give way to lost output; RF that is not
    safe, a damaged record and a fault of the program do not.
    """
    install_nonblocking_streams()
    rf_state.forget()
    code = _run_app()
    lost = finish_output()
    if lost is not None and code < RfUnsafe.exit_code:
        code = report_error(lost)
        finish_output()
    sys.exit(code)


def _run_app() -> int:
    try:
        _refuse_words_that_are_no_text()
        program()()
    except SystemExit as ended:  # so typer ends, also where all is well
        return ended.code if isinstance(ended.code, int) else 0
    except _PassedTyper as passed:
        return report_error(passed.problem)
    except (Exception, KeyboardInterrupt) as problem:
        return report_error(problem)
    return 0


def _refuse_words_that_are_no_text() -> None:
    """Raise UsageError where a word that was given cannot be text: no record could keep it."""
    given = {_shown(word): word for word in sys.argv[1:]}
    given |= {name: text for name, text in os.environ.items() if name.startswith("OHMWRIGHT_")}
    for name, word in given.items():
        try:
            word.encode()
        except UnicodeEncodeError:
            raise UsageError(
                f"{name}: this cannot be read as text, so no record could keep it.",
                "Its bytes are no UTF-8, or the system is told that text is not UTF-8.",
                "Write it or name the file otherwise, or set a locale of UTF-8: LC_ALL=C.UTF-8.",
            ) from None


def _shown(word: str) -> str:
    return os.fsencode(word).decode(errors="backslashreplace")
