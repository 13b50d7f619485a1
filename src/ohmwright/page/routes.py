"""The routes of the page, and their description in the form of OpenAPI 3.1."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any, Literal

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles

from ohmwright import __version__
from ohmwright.model.errors import OhmwrightError

from .calls import SCREEN_HEADER, PageCalls, refused
from .fresh import HEARD_HEADER
from .gate import refusal
from .orders import Begin, Body, Command, Enter, KeyPress, Nothing, Renew, Turn, Words

FILES = Path(__file__).parent / "static"


@dataclass(frozen=True)
class Call:
    """One route: its method and path, what answers it, and its body."""

    method: Literal["GET", "POST"]
    path: str
    answer: Callable[[PageCalls, Request], Awaitable[Response]]
    body: type[Body] | None = None
    query: tuple[str, ...] = ()
    media: str = "application/json"

    @property
    def open_path(self) -> str:
        """The path as OpenAPI writes it."""
        return self.path.replace(":int", "")


CALLS = (
    Call("POST", "/enter", PageCalls.enter, Enter),
    Call("GET", "/news", PageCalls.news, media="text/event-stream"),
    Call("POST", "/screens", PageCalls.invite, Nothing),
    Call("GET", "/benches/{bench:int}/procedures", PageCalls.offers),
    Call(
        "GET",
        "/benches/{bench:int}/procedures/{procedure:int}",
        PageCalls.preview,
        None,
        ("unattended",),
    ),
    Call("GET", "/benches/{bench:int}/unit", PageCalls.unit, None, ("asset",)),
    Call(
        "GET",
        "/benches/{bench:int}/unit/procedure",
        PageCalls.unit_preview,
        None,
        ("asset", "unattended"),
    ),
    Call("POST", "/benches/{bench:int}/begin", PageCalls.begin, Begin),
    Call("POST", "/benches/{bench:int}/stop", PageCalls.stop),
    Call("POST", "/benches/{bench:int}/say", PageCalls.say, Words),
    Call("POST", "/benches/{bench:int}/command", PageCalls.command, Command),
    Call("POST", "/benches/{bench:int}/press", PageCalls.press, KeyPress),
    Call("POST", "/benches/{bench:int}/turn", PageCalls.turn, Turn),
    Call("GET", "/records", PageCalls.runs, None, ("words", "verdict")),
    Call("GET", "/lost", PageCalls.lost),
    Call("GET", "/worklist", PageCalls.worklist, None, ("simulated",)),
    Call("POST", "/worklist", PageCalls.renew, Renew),
    Call("GET", "/campaigns", PageCalls.campaigns),
    Call("GET", "/campaign", PageCalls.campaign, None, ("name",)),
    Call("GET", "/unit", PageCalls.registered, None, ("asset", "simulated")),
    Call("GET", "/creep", PageCalls.creep, None, ("asset", "simulated")),
    Call("GET", "/records/{run}", PageCalls.run),
    Call("GET", "/records/{run}/certificate.pdf", PageCalls.pdf, media="application/pdf"),
    Call("GET", "/records/{run}/certificate.html", PageCalls.html, media="text/html"),
)


def application(calls: PageCalls) -> Starlette:
    """Return the routes as an application, to be put behind a gate."""
    routes: list[BaseRoute] = [
        Route("/", _first_page),
        Route("/openapi.json", _description),
        Mount("/static", StaticFiles(directory=FILES)),
        *(Route(one.path, partial(one.answer, calls), methods=[one.method]) for one in CALLS),
    ]
    handlers = {OhmwrightError: refused, HTTPException: _http_refusal, Exception: _failed}
    return Starlette(routes=routes, exception_handlers=handlers)


def description() -> dict[str, Any]:
    """Return the routes in the form of OpenAPI 3.1."""
    paths: dict[str, Any] = {}
    for call in CALLS:
        paths.setdefault(call.open_path, {})[call.method.lower()] = _operation(call)
    return {
        "openapi": "3.1.0",
        "info": {"title": "ohmwright page", "version": __version__},
        "paths": paths,
    }


def _operation(call: Call) -> dict[str, Any]:
    refusals = {str(code): {"description": words} for code, words in _REFUSALS.items()}
    operation: dict[str, Any] = {
        "operationId": call.answer.__name__,
        "summary": (call.answer.__doc__ or "").partition("\n")[0],
        "parameters": list(_parameters(call)),
        "responses": {"200": {"description": "done", "content": {call.media: {}}}, **refusals},
    }
    if call.body is not None:
        schema = {"schema": call.body.model_json_schema()}
        operation["requestBody"] = {"required": True, "content": {"application/json": schema}}
    return operation


def _parameters(call: Call) -> Iterator[dict[str, Any]]:
    for part in call.path.split("/"):
        if part.startswith("{"):
            name, _, kind = part.strip("{}").partition(":")
            schema = {"type": "integer", "minimum": 0} if kind == "int" else {"type": "string"}
            yield {"name": name, "in": "path", "required": True, "schema": schema}
    for name in call.query:
        yield {"name": name, "in": "query", "schema": {"type": "string"}}
    for name in (SCREEN_HEADER, HEARD_HEADER):
        yield {"name": name, "in": "header", "schema": {"type": "string"}}


_REFUSALS = {
    400: "the body is no JSON",
    401: "without a session",
    403: "from another page",
    404: "there is no such thing",
    409: "it cannot be done now",
    413: "the body is too large",
    415: "the body is not sent as JSON",
    421: "for another host",
    422: "the body has another form",
    429: "too many requests",
}


async def _first_page(_: Request) -> Response:
    return FileResponse(FILES / "index.html")


async def _description(_: Request) -> Response:
    return JSONResponse(description())


async def _http_refusal(_: Request, problem: Exception) -> Response:
    assert isinstance(problem, HTTPException)  # as the application registers it
    return refusal(problem.status_code, problem.detail)


async def _failed(_: Request, problem: Exception) -> Response:
    return refusal(500, f"The server failed: {type(problem).__name__}.", "Runs go on.")
