"""The page served on this computer in a thread of its own, with the truth of its benches."""

import http.client
import json
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import anyio
import pytest

from ohmwright.api import open_bench, practice
from ohmwright.api.bench_data import BenchChoice
from ohmwright.cli.crash import reportable_errors
from ohmwright.model.errors import OhmwrightError, ProgramFault, ReleaseNotConfirmed
from ohmwright.model.shipped import shipped
from ohmwright.page.benches import BenchOfFile
from ohmwright.page.practice import PracticeUnit
from ohmwright.page.site import PageSettings, serve
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.wire.paced_clock import PacedClock

if TYPE_CHECKING:
    from playwright.sync_api import Browser

LIMIT_S = 60.0


@pytest.fixture(scope="module")
def browser() -> Iterator["Browser"]:
    """Chromium, for the tests of one module; they are skipped where it is not installed."""
    from .browsing import opened_browser  # playwright is slow to import, and most do without

    with opened_browser() as browser:
        yield browser


@dataclass
class Site:
    """A page that is served, the addresses that admit, and the simulated hardware of each run."""

    addresses: list[str] = field(default_factory=list)
    hardware: list[SimulatedBench] = field(default_factory=list)
    errors: list[BaseException] = field(default_factory=list)
    left_on: list[ReleaseNotConfirmed] = field(default_factory=list)
    """What the server ended by, where RF was not read back as off."""
    given: set[str] = field(default_factory=set)
    """Addresses that somebody was given: each admits one."""

    def rf_is_on(self, bench: int) -> bool:
        """Whether RF is on by what the bench's own thread did last; nothing is advanced here."""
        return self.hardware[bench].truth._rig.rf_on

    @property
    def host(self) -> str:
        return urlsplit(self.addresses[0]).netloc

    def fresh_address(self) -> str:
        """The newest address, once it is one that nobody was given."""
        end_s = time.monotonic() + LIMIT_S
        while (address := self.addresses[-1]) in self.given:
            assert time.monotonic() < end_s, "no new address was announced"
            time.sleep(0.01)
        self.given.add(address)
        return address

    def fresh_token(self) -> str:
        """That of the newest address."""
        return self.fresh_address().partition("#token=")[2]

    def client(self) -> "Client":
        """A client that was admitted."""
        client = Client(self.host)
        answer = client.post("/enter", {"token": self.fresh_token()})
        assert answer.status == 200, answer
        client.cookie = answer.headers["set-cookie"].partition(";")[0]
        return client


@dataclass(frozen=True)
class Answer:
    status: int
    headers: dict[str, str]
    text: str

    @property
    def json(self) -> Any:
        return json.loads(self.text)


@dataclass
class Client:
    """Sends requests as a browser's page would, or otherwise."""

    host: str
    cookie: str = ""
    key: str = ""

    def ask(
        self, method: str, path: str, body: bytes | None = None, **headers: str | None
    ) -> Answer:
        """`headers`: by name with `_` for `-`; None leaves one out."""
        sent: dict[str, str | None] = {"Host": self.host, "Cookie": self.cookie}
        if method == "POST":
            sent |= {"Origin": f"http://{self.host}", "Content-Type": "application/json"}
        if self.key:
            sent["X-Screen-Key"] = self.key
        sent |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection(self.host, timeout=LIMIT_S)
        connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
        for name, value in sent.items():
            if value is not None:
                connection.putheader(name, value.encode("latin-1", "replace"))
        connection.putheader("Content-Length", str(len(body or b"")))
        connection.endheaders(body)
        answer = connection.getresponse()
        found = {name.lower(): value for name, value in answer.getheaders()}
        text = answer.read().decode(errors="replace")
        connection.close()
        return Answer(answer.status, found, text)

    def get(self, path: str, **headers: str | None) -> Answer:
        return self.ask("GET", path, None, **headers)

    def post(self, path: str, body: Any = None, **headers: str | None) -> Answer:
        return self.ask("POST", path, json.dumps(body or {}).encode(), **headers)

    @contextmanager
    def screen(self) -> Iterator["Screen"]:
        """Show the page: the news of every bench are read until the block ends."""
        connection = http.client.HTTPConnection(self.host, timeout=LIMIT_S)
        headers = {"Cookie": self.cookie, "X-Screen-Key": self.key}
        connection.request("GET", "/news", headers=headers)
        answer = connection.getresponse()
        assert answer.status == 200, answer.read()
        screen = Screen(answer)
        hello = screen.next("hello")
        self.key = hello["key"]
        screen.number = hello["screen"]
        try:
            yield screen
        finally:
            connection.close()
            answer.close()


class Screen:
    """A stream of news that is read as it comes."""

    def __init__(self, answer: http.client.HTTPResponse) -> None:
        self._answer, self.number = answer, 0

    def next(self, kind: str) -> dict[str, Any]:
        """The next message of this kind."""
        while True:
            line = self._answer.readline().decode()
            assert line != "", "the stream has ended"
            if line == f"event: {kind}\n":
                return dict(json.loads(self._answer.readline().decode().removeprefix("data: ")))

    def bench(self, number: int, fits: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """The next news of a bench that `fits`; fails where there are none in time."""
        for _ in range(5000):
            news = self.next("bench")
            if news["bench"] == number and fits(news["now"]):
                return news
        raise AssertionError("never seen")


@contextmanager
def serving(settings: PageSettings, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    """Serve a page in a thread of its own until the block ends."""
    site, ready, stop = Site(), threading.Event(), list[Callable[[], None]]()
    build = open_bench.simulated_bench

    def kept(*args: Any) -> SimulatedBench:
        site.hardware.append(build(*args))
        return site.hardware[-1]

    for module in (open_bench, practice):
        monkeypatch.setattr(module, "simulated_bench", kept)

    def explain(problem: BaseException) -> Any:
        site.errors.append(problem)
        if isinstance(problem, OhmwrightError):
            return reportable_errors(problem)[0]  # as the command does
        return ProgramFault(repr(problem))

    def announce(address: str) -> None:
        site.addresses.append(address)
        ready.set()

    async def work() -> None:
        token = anyio.lowlevel.current_token()
        with anyio.CancelScope() as scope:
            stop.append(lambda: anyio.from_thread.run_sync(scope.cancel, token=token))
            try:
                await serve(settings, announce, explain)
            except ReleaseNotConfirmed as problem:
                site.left_on.append(problem)

    thread = threading.Thread(target=anyio.run, args=(work,))
    thread.start()
    try:
        assert ready.wait(LIMIT_S)
        yield site
    finally:
        stop[0]()
        thread.join(LIMIT_S)
        assert not thread.is_alive()


PROCEDURES = ("demo-monopolar", "attended-marlow")


def page_settings(
    folder: Path, speed: float = 1000.0, *more: Path, practice_speed: float = 1.0
) -> PageSettings:
    """Two simulated benches, whose time passes as fast as it can be computed."""
    return PageSettings(
        benches=tuple(
            BenchOfFile(BenchChoice(shipped("benches", f"{name}.toml")), speed)
            for name in ("demo", "attended")
        ),
        practice=PracticeUnit(seed=5, clock=lambda: PacedClock(practice_speed)),
        procedures=(
            *more,
            *(shipped("procedures", f"{name}.toml") for name in PROCEDURES),
        ),
        practice_procedures=(shipped("procedures", "practice-marlow.toml"),),
        records=str(folder / "records"),
    )


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    with serving(page_settings(tmp_path), monkeypatch) as site:
        yield site


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """One page for tests that change nothing."""
    with pytest.MonkeyPatch.context() as patch:
        folder = tmp_path_factory.mktemp("shared")
        for name in ("DATA", "CONFIG", "STATE"):
            patch.setenv(f"XDG_{name}_HOME", str(folder / name.lower()))
        with serving(page_settings(folder), patch) as site:
            yield site


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"
