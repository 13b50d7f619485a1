"""What the page can be asked for: one function for each route, in the server's own task."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import partial
from typing import Any, TypeVar

import anyio
import segno
from anyio.abc import TaskGroup
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse

from ohmwright.api.bench_generators import NoGeneratorError, for_model
from ohmwright.model.errors import OhmwrightError, ProcedureError, UsageError

from .admission import Admission
from .cut_short import AtBench, runs_cut_short
from .desk import Desk
from .fresh import HEARD_HEADER, require_fresh
from .gate import cookie_name, refusal
from .history import History, PaperForm
from .news import Newsroom
from .offered import OfferedProcedures
from .orders import Begin, Body, Command, Enter, KeyPress, Nothing, Renew, Turn, Words
from .outlook import Outlook
from .preview import preview, unreadable
from .request_body import body_of
from .screens import Screen, Screens
from .subject import (
    Subject,
    other_bench,
    refuse_worked_elsewhere,
    subject_of,
    unit_facts,
)

R = TypeVar("R")
B = TypeVar("B", bound=Body)
SCREEN_HEADER = "x-screen-key"
_PAPER_POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; img-src data:; font-src data:; "
    "base-uri 'none'; form-action 'none'; sandbox"
)


@dataclass
class PageCalls:
    """The state of the server, and what a request does with it."""

    desks: Sequence[Desk]
    procedures: OfferedProcedures
    history: History
    outlook: Outlook
    admission: Admission
    screens: Screens
    newsroom: Newsroom
    tasks: TaskGroup
    address: str
    """Of the page, as a URL."""
    admitted: Callable[[], None]
    """Called when a token was used up."""

    async def enter(self, request: Request) -> Response:
        """Exchange a one-time token for a session, whose secret only the browser holds."""
        session = self.admission.enter((await body_of(request, Enter)).token)
        if session is None and not self.admission.may_guess_again():
            return refusal(429, "There were too many wrong tokens.", "Wait a moment.")
        if session is None:
            return refusal(401, "The token has been used, or is none.", "Ask for a new address.")
        self.admitted()
        response = JSONResponse({})
        name = cookie_name(request.headers["host"])
        response.set_cookie(name, session, httponly=True, samesite="strict", path="/")
        return response

    async def news(self, request: Request) -> Response:
        """Stream the news of every bench, to a screen that keeps its key over a reload."""
        screen = await self.screens.arriving(request.headers.get(SCREEN_HEADER, ""))
        if screen is None:
            return refusal(429, "There are too many screens.", "Close one.")

        async def stream() -> Any:
            with self.screens.shown(screen):
                async for message in self.newsroom.stream(screen):
                    yield message

        return StreamingResponse(stream(), media_type="text/event-stream")

    async def offers(self, request: Request) -> Response:
        """Return the procedures that can be run on a bench, and its unfinished runs."""
        desk = self._desk(request)
        offers = await _in_thread(partial(self.procedures.offers, to_practise=desk.is_practice))
        own = None if desk.own_unit is None else desk.own_unit.id
        bench = AtBench(desk.data.file.name, own, desk.models)
        going_on = {one.run_id for one in self.desks if one.is_busy}
        place = self.history.place
        unfinished = await _in_thread(partial(runs_cut_short, place, bench, going_on))
        return JSONResponse(
            {
                "procedures": [asdict(offer) for offer in offers],
                "unfinished": [asdict(run) for run in unfinished],
            }
        )

    async def unit(self, request: Request) -> Response:
        """Return which unit a tag means at a bench, or why no run of it can be begun there."""
        desk, tag = self._desk(request), request.query_params.get("asset", "")[:1000]
        order = Begin(procedure=None, asset=tag)
        try:
            subject = await _in_thread(partial(self._subject, desk, order))
        except OhmwrightError as problem:  # no failure: it is what was asked for
            words = (problem.happened, problem.means, problem.do)
            return JSONResponse({"refused": " ".join(filter(None, words))})
        return JSONResponse(unit_facts(subject))

    async def unit_preview(self, request: Request) -> Response:
        """Return what a run by the procedure that the register names for a unit would do."""
        desk, asked = self._desk(request), request.query_params
        order = Begin(procedure=None, asset=asked.get("asset", "")[:1000])
        return JSONResponse(
            await _in_thread(partial(self._preview_of, desk, order, asked.get("unattended")))
        )

    def _preview_of(self, desk: Desk, order: Begin, unattended: str | None) -> dict[str, Any]:
        subject = self._subject(desk, order)
        return preview(subject.file, subject.unit.bench, unattended=unattended == "yes")

    async def preview(self, request: Request) -> Response:
        """Return what a procedure would do on a bench; what is wrong with it is marked."""
        desk, number = self._desk(request), request.path_params["procedure"]
        unattended = request.query_params.get("unattended") == "yes"
        return JSONResponse(
            await _in_thread(partial(self._preview, desk, number, unattended=unattended))
        )

    def _preview(self, desk: Desk, number: int, *, unattended: bool) -> dict[str, Any]:
        try:
            file = self.procedures.read(number)
            bench = for_model(desk.source.read(), file.procedure.model)
            return preview(file, bench, unattended=unattended)
        except ProcedureError as problem:
            return unreadable(problem, self.procedures.text(number), self.procedures.name(number))

    async def begin(self, request: Request) -> Response:
        """Begin a run, or go on with one."""
        desk, order, screen = await self._order(request, Begin)
        desk.lease.require(screen.number)
        subject = await _in_thread(partial(self._subject, desk, order))
        refuse_worked_elsewhere(subject, desk, self.desks)
        desk.begin(order, subject.file, subject.unit, self.tasks, screen.number)
        return JSONResponse({})

    def _subject(self, desk: Desk, order: Begin) -> Subject:
        try:
            return subject_of(order, desk.source.read(), self.procedures, self.history.place)
        except NoGeneratorError as problem:
            raise other_bench(problem, desk, self.desks) from None

    async def stop(self, request: Request) -> Response:
        """Stop the run with RF off, whichever screen asks."""
        screen = self._screen(request)
        number = None if screen is None else screen.number
        return JSONResponse({"stopping": self._desk(request).stop(number)})

    async def say(self, request: Request) -> Response:
        """Answer the open request."""
        desk, said, screen = await self._order(request, Words)
        desk.lease.require(screen.number)
        desk.say(said, screen.number)
        return JSONResponse({})

    async def command(self, request: Request) -> Response:
        """Take, ask for, hand over, keep or leave the command of a bench."""
        desk, command, screen = await self._order(request, Command)
        desk.lease.do(command.do, screen.number)
        return JSONResponse({"holder": desk.lease.holder, "asker": desk.lease.asker})

    async def press(self, request: Request) -> Response:
        """Press a key of the practice unit once."""
        desk, press, screen = await self._order(request, KeyPress)
        desk.lease.require(screen.number)
        desk.press(press)
        return JSONResponse({})

    async def turn(self, request: Request) -> Response:
        """Work another control of the practice unit."""
        desk, turn, screen = await self._order(request, Turn)
        desk.lease.require(screen.number)
        desk.turn(turn)
        return JSONResponse({})

    async def runs(self, request: Request) -> Response:
        """Return the newest runs on record that have the words and verdict searched for."""
        asked = request.query_params
        words, verdict = asked.get("words", "")[:200], asked.get("verdict", "")[:20]
        return JSONResponse(await _in_thread(partial(self.history.runs, words, verdict)))

    async def run(self, request: Request) -> Response:
        """Return one run on record with its results and power curves."""
        return JSONResponse(await _in_thread(partial(self.history.run, request.path_params["run"])))

    async def lost(self, _: Request) -> Response:
        """Return what is gone of the records that this computer has seen, in words."""
        return JSONResponse(await _in_thread(self.history.lost))

    async def worklist(self, request: Request) -> Response:
        """Return the units of the register in the order in which they are to be worked on."""
        simulated = request.query_params.get("simulated") == "yes"
        return JSONResponse(await _in_thread(partial(self.outlook.worklist, simulated=simulated)))

    async def renew(self, request: Request) -> Response:
        """Make the forecast of every unit anew, and return the worklist by it."""
        simulated = (await body_of(request, Renew)).simulated
        return JSONResponse(await _in_thread(partial(self.outlook.renew, simulated=simulated)))

    async def campaigns(self, _: Request) -> Response:
        """Return each campaign with a line on how far it is, the newest first."""
        return JSONResponse(await _in_thread(self.outlook.campaigns))

    async def campaign(self, request: Request) -> Response:
        """Return a campaign with its units: what is done, and what is left."""
        name = request.query_params.get("name", "")[:200]
        return JSONResponse(await _in_thread(partial(self.outlook.campaign, name)))

    async def registered(self, request: Request) -> Response:
        """Return what the register says of a unit, and its runs on record."""
        asked = request.query_params
        asset, simulated = asked.get("asset", "")[:200], asked.get("simulated") == "yes"
        card = await _in_thread(partial(self.outlook.register, asset, simulated=simulated))
        runs = await _in_thread(partial(self.history.of_unit, asset))
        return JSONResponse(card | {"runs": runs})

    async def creep(self, request: Request) -> Response:
        """Return how a unit creeps, and when it will leave its limits."""
        asked = request.query_params
        asset, simulated = asked.get("asset", "")[:200], asked.get("simulated") == "yes"
        work = partial(self.outlook.unit, asset, simulated=simulated)
        return JSONResponse(await _in_thread(work))

    async def pdf(self, request: Request) -> Response:
        """Return the certificate of a finished run as a file."""
        name, content = await self._certificate(request, "pdf")
        headers = {"content-disposition": f'attachment; filename="{name}"'}
        return Response(content, media_type="application/pdf", headers=headers)

    async def html(self, request: Request) -> Response:
        """Return the certificate of a finished run as a page of its own."""
        _, content = await self._certificate(request, "html")
        headers = {"content-security-policy": _PAPER_POLICY}
        return Response(content, media_type="text/html", headers=headers)

    async def _certificate(self, request: Request, form: PaperForm) -> tuple[str, bytes]:
        run_id = request.path_params["run"]
        return await _in_thread(partial(self.history.certificate, run_id, form))

    async def invite(self, request: Request) -> Response:
        """Return an address that admits one more browser, also as a picture for its camera."""
        await body_of(request, Nothing)
        address = f"{self.address}#token={self.admission.new_token()}"
        picture = segno.make(address).svg_data_uri(scale=4, border=4, light="#ffffff")
        return JSONResponse({"address": address, "picture": picture})

    def _desk(self, request: Request) -> Desk:
        number: int = request.path_params["bench"]
        if not 1 <= number <= len(self.desks):
            raise UsageError("There is no such bench.")
        return self.desks[number - 1]

    async def _order(self, request: Request, kind: type[B]) -> tuple[Desk, B, Screen]:
        """Return bench, body and screen of a request. Raises UsageError."""
        order = await body_of(request, kind)
        screen = self._screen(request)
        if screen is None:
            raise UsageError("The request names no screen.", do="Load the page again.")
        require_fresh(request.headers.get(HEARD_HEADER), self.newsroom.clock.now_s())
        return self._desk(request), order, screen

    def _screen(self, request: Request) -> Screen | None:
        """Return the screen that a request comes from; None where it names none."""
        return self.screens.of_key(request.headers.get(SCREEN_HEADER, ""))


async def refused(request: Request, problem: Exception) -> Response:
    """Return an error of a route as its three parts."""
    assert isinstance(problem, OhmwrightError)  # as the application registers it
    status = 404 if request.method == "GET" else 409
    facts = {"happened": problem.happened, "means": problem.means, "do": problem.do}
    return JSONResponse(facts, status)


async def _in_thread(work: Callable[[], R]) -> R:
    """Do what reads files or the store beside the benches' tasks, which go on meanwhile."""
    return await anyio.to_thread.run_sync(work)
