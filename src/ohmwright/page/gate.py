"""The gate of the page: who is asked by whom, and how often, before any route sees a request.

A browser lets any page that it shows send requests to this computer. So a request must name this
server as its host, must come from the page's own origin where it changes something, and must carry
the cookie of a session, which no other site's request carries.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

from starlette.requests import Request
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from ohmwright.wire.clock import Clock

from .admission import Admission
from .pacing import Bucket

POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "img-src 'self' data:; font-src 'self'; manifest-src 'self'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)
HEADERS: Final = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}
_OPEN_TO_ALL: Final = ("/", "/enter")
_FILES: Final = "/static/"
_STOP: Final = "/stop"


def refusal(status: int, words: str, do: str = "") -> JSONResponse:
    """Return the response that refuses a request, as every route words it."""
    return JSONResponse({"happened": words, "means": "", "do": do}, status)


class Gate:
    """Refuses what must not reach a route, and puts the page's policy on every response."""

    def __init__(
        self, app: ASGIApp, *, hosts: Collection[str], admission: Admission, clock: Clock
    ) -> None:
        """`hosts`: the values of `Host` that mean this server, each with its port."""
        self._app, self._hosts, self._admission = app, frozenset(hosts), admission
        self._strangers = Bucket(clock, most=200, per_s=50)
        self._requests = Bucket(clock, most=200, per_s=50)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand a request on, or refuse it."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = _with_policy(message["headers"])
            await send(message)

        refused = self._refused(Request(scope))
        await (self._app if refused is None else refused)(scope, receive, send_with_headers)

    def _refused(self, request: Request) -> JSONResponse | None:
        if request.headers.getlist("host") != [host := request.headers.get("host", "")] or (
            host not in self._hosts
        ):
            return refusal(421, "This server is not what the request asks for.")
        if not _from_own_page(request, host):
            return refusal(403, "The request comes from another page.")
        path = request.url.path
        if path in _OPEN_TO_ALL or path.startswith(_FILES):
            return None if self._strangers.take() else _too_many()
        if not self._admission.knows(request.cookies.get(cookie_name(host), "")):
            if not self._strangers.take():
                return _too_many()
            return refusal(401, "Nobody was admitted with this.", "Open the page by its address.")
        if path.endswith(_STOP) or self._requests.take():  # a stop is heard however much is asked
            return None
        return _too_many()


def cookie_name(host: str) -> str:
    """Return the name of the session's cookie; browsers keep cookies of all ports together."""
    return f"ohmwright-{host.rpartition(':')[2]}"


def _from_own_page(request: Request, host: str) -> bool:
    """Whether a request comes from this server's page, or changes nothing and from no page."""
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = request.headers.get("origin")
    if origin is None:
        return request.method in ("GET", "HEAD")
    return origin == f"http://{host}"


def _too_many() -> JSONResponse:
    return refusal(429, "There are too many requests.", "Wait a moment.")


def _with_policy(headers: list[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    """Return `headers` completed by the page's own; those that a route has set stay."""
    given = {name.lower() for name, _ in headers}
    own = ((name.encode(), value.encode()) for name, value in HEADERS.items())
    return [*headers, *((name, value) for name, value in own if name not in given)]
