"""The command `page`: serve the bench page to browsers until interrupted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import anyio

from ohmwright.api.bench_data import BenchChoice
from ohmwright.model.errors import OhmwrightError, UsageError
from ohmwright.model.shipped import shipped
from ohmwright.wire.loopback import is_loopback
from ohmwright.wire.machine_priority import run_before_others

from .console import CAUTION, err, out, print_notice
from .crash import reportable_errors
from .error_report import print_error
from .signals import cancel_on_signal

_DEMO = ("demo.toml", "attended.toml")


@dataclass(frozen=True)
class PageRequest:
    """A page as asked for on the command line."""

    benches: tuple[Path, ...]
    procedures: tuple[Path, ...]
    demo: bool
    speed: float
    host: str
    port: int
    records: str | None


def run_page(request: PageRequest) -> int:
    """Serve until interrupted, every run then ended with RF off; return 0.

    Raises UsageError, and ReleaseNotConfirmed where RF was not read back as off.
    """
    try:
        import starlette  # noqa: F401
        import uvicorn  # noqa: F401
    except ImportError:
        raise UsageError(
            "The page needs the packages starlette and uvicorn, which are not installed.",
            do="Install them: pip install 'ohmwright[page]'.",
        ) from None
    from ohmwright.page.benches import BenchOfFile
    from ohmwright.page.offered import procedures_in
    from ohmwright.page.practice import PracticeUnit
    from ohmwright.page.site import PageSettings, serve

    if not request.benches and not request.demo:
        raise UsageError("No bench is named.", do="Give --bench FILE, or --demo.")
    files = [*request.benches, *(shipped("benches", name) for name in _DEMO if request.demo)]
    folders = [shipped("procedures")] if request.demo else []
    settings = PageSettings(
        benches=tuple(BenchOfFile(BenchChoice(path), request.speed) for path in files),
        procedures=(
            *request.procedures,
            *procedures_in([*(path.parent for path in request.benches), *folders]),
        ),
        practice_procedures=(shipped("procedures", "practice-marlow.toml"),),
        records=request.records,
        practice=PracticeUnit(),
        host=request.host,
        port=request.port,
    )
    err().print(CAUTION, style="yellow")
    if not is_loopback(request.host):
        print_notice(
            f"Other computers reach this page, on {request.host}; the line is not encrypted."
        )

    async def work() -> None:
        with cancel_on_signal():
            await serve(settings, _announce, _explain, _tell_of_stopping)

    run_before_others()
    anyio.run(work)
    return 0


def _announce(address: str) -> None:
    out().print(f"Open in one browser: {address}", soft_wrap=True)


def _tell_of_stopping(benches: Sequence[str]) -> None:
    print_notice(
        f"Stopping, with RF off: {', '.join(benches)}. The page is served until then: what is "
        "asked, or is to be done at a foot switch, stands there."
    )


def _explain(problem: BaseException) -> OhmwrightError:
    """Return what to show of an error that ended a run; it is printed here as well."""
    errors = reportable_errors(problem)
    for error in errors:
        print_error(error)
    return errors[0]
