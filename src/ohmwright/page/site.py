"""Serves the page: the gate, the routes, and a task for each run, until it is cancelled."""

from __future__ import annotations

import asyncio
import gc
import socket
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, contextmanager, suppress
from dataclasses import dataclass
from importlib import import_module
from ipaddress import ip_address
from pathlib import Path

import anyio
import uvicorn
from starlette.types import ASGIApp

from ohmwright.model.errors import OhmwrightError, ReleaseNotConfirmed, UsageError
from ohmwright.wire.clock import RealClock
from ohmwright.wire.loopback import LOOPBACK, is_loopback

from .admission import Admission
from .benches import BenchSource
from .calls import PageCalls
from .desk import Desk, Explain
from .gate import Gate
from .history import History
from .lease import Lease
from .news import LOOK_EVERY_S, Newsroom
from .offered import OfferedProcedures
from .outlook import Outlook
from .routes import application
from .screens import Screens

_FIRST_TOKEN_VALID_S = 10 * 365 * 86400.0
_LAPS_TO_ACCEPT = 8
"""A connection takes four laps of the event loop: task, transport, protocol, end of the task."""
Announce = Callable[[str], None]
"""Called with each address that admits one browser."""


Stopping = Callable[[Sequence[str]], None]
"""Called with the names of the benches with a run, once the server is told to end."""


def _unsaid(_: Sequence[str]) -> None:
    """Say nothing."""


@dataclass(frozen=True)
class PageSettings:
    """What is served, and where."""

    benches: tuple[BenchSource, ...]
    procedures: tuple[Path, ...]
    records: str | None
    practice: BenchSource
    practice_procedures: tuple[Path, ...] = ()
    """Offered for the practice unit alone."""
    host: str = LOOPBACK
    port: int = 0


class _Server(uvicorn.Server):
    """Leaves signals to the program."""

    @contextmanager
    def capture_signals(self):  # type: ignore[no-untyped-def]
        yield


@dataclass(frozen=True)
class Served:
    """An application that is ready to be served, and where it is found."""

    app: ASGIApp
    calls: PageCalls
    desks: Sequence[Desk]


@asynccontextmanager
async def prepared(
    settings: PageSettings, port: int, announce: Announce, explain: Explain
) -> AsyncIterator[Served]:
    """Yield the application with its benches; leaving the block stops every run with RF off.

    Raises SourceError, UsageError where a bench cannot be read.
    """
    _make_ready()
    clock = RealClock()
    admission, screens = Admission(clock), Screens(clock)
    desks = [
        Desk(number, source, settings.records, Lease(screens, clock), clock, explain)
        for number, source in enumerate((*settings.benches, settings.practice), start=1)
    ]
    newsroom = Newsroom(desks, screens, clock)
    shown = f"[{settings.host}]" if ":" in settings.host else settings.host
    address = f"http://{shown}:{port}/"

    def invite() -> None:
        announce(f"{address}#token={admission.new_token(_FIRST_TOKEN_VALID_S)}")

    async with anyio.create_task_group() as tasks:
        calls = PageCalls(
            desks,
            OfferedProcedures(settings.procedures, settings.practice_procedures),
            History(settings.records),
            Outlook(settings.records),
            admission,
            screens,
            newsroom,
            tasks,
            address,
            invite,
        )
        hosts = {f"{name}:{port}" for name in (shown, *_loopback_names(settings.host))}
        tasks.start_soon(newsroom.watch)
        app = Gate(application(calls), hosts=hosts, admission=admission, clock=clock)
        invite()
        try:
            yield Served(app, calls, desks)
        finally:
            newsroom.close()
            tasks.cancel_scope.cancel()


def _make_ready() -> None:
    """Load what runs need now, and take it out of the collection of garbage.

    Either would hold up a STOP at another bench by a quarter of a second while a first run begins.
    """
    import_module("scipy.special")
    gc.collect()
    gc.freeze()


async def serve(
    settings: PageSettings, announce: Announce, explain: Explain, stopping: Stopping = _unsaid
) -> None:
    """Serve until cancelled; every run then ends with RF off, and the page is served till then.

    Raises SourceError, UsageError, and ReleaseNotConfirmed where RF was not read back as off.
    """
    left_on: list[OhmwrightError] = []
    with _listening(settings) as listener:
        port = listener.getsockname()[1]
        try:
            async with prepared(settings, port, announce, explain) as served:
                server = _Server(_config(served.app))
                try:
                    await server.serve(sockets=[listener])
                finally:
                    with anyio.CancelScope(shield=True):
                        left_on = await _runs_ended(served.desks, stopping)
                        served.calls.newsroom.close()
                        await _stop_accepting(listener)
                        await server.shutdown(sockets=[listener])
        finally:
            for problem in left_on:
                raise problem  # in place of the cancellation: it is the end of the command


async def _runs_ended(desks: Sequence[Desk], stopping: Stopping) -> list[OhmwrightError]:
    """Stop every run; return what left RF at a bench in a state that is not known.

    A person may be asked meanwhile, as to let a foot switch go, and answers on the page.
    """
    if busy := [desk.data.file.name for desk in desks if desk.is_busy]:
        stopping(busy)
    for desk in desks:
        desk.end()
    while any(desk.is_busy for desk in desks):
        await RealClock().sleep(LOOK_EVERY_S)
    return [desk.error for desk in desks if isinstance(desk.error, ReleaseNotConfirmed)]


async def _stop_accepting(listener: socket.socket) -> None:
    """Accept no more connections, and wait until the last one is known to the server.

    A server that is closed between the two leaves that connection open (CPython issue 109564).
    """
    with suppress(NotImplementedError):  # Windows' loop has no readers
        asyncio.get_running_loop().remove_reader(listener)
    for _ in range(_LAPS_TO_ACCEPT):
        await anyio.lowlevel.checkpoint()


def _config(app: ASGIApp) -> uvicorn.Config:
    return uvicorn.Config(
        app,
        log_config=None,  # which asks standard output about a terminal, and it may be closed
        log_level="critical",
        access_log=False,
        lifespan="off",
        ws="none",
        http="h11",
        proxy_headers=False,
        server_header=False,
        limit_concurrency=64,
        h11_max_incomplete_event_size=16384,
        timeout_graceful_shutdown=1,
    )


def _listening(settings: PageSettings) -> socket.socket:
    """Return a socket that listens. Raises UsageError where it cannot."""
    refuse_every_address(settings.host)
    try:
        return socket.create_server(
            (settings.host, settings.port),
            family=socket.AF_INET6 if ":" in settings.host else socket.AF_INET,
        )
    except (OSError, OverflowError) as problem:
        why = problem.strerror if isinstance(problem, OSError) else str(problem)
        raise UsageError(
            f"The page cannot be served at {settings.host}, port {settings.port}: {why}.",
            do="Give another --port or --host.",
        ) from None


def refuse_every_address(host: str) -> None:
    """Raise UsageError for an address that means all of a computer's."""
    try:
        every = ip_address(host).is_unspecified
    except ValueError:
        every = host == ""
    if every:
        raise UsageError(
            f"{host!r} means every network of this computer.",
            "A request is held against the address that it was meant for.",
            "Give the one address by which the other screen reaches this computer.",
        )


def _loopback_names(host: str) -> tuple[str, ...]:
    return (LOOPBACK, "localhost", "[::1]") if is_loopback(host) else ()
