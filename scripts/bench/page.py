"""The page under load: eight benches with RF on, frames, memory, and how soon STOP acts.

    python scripts/bench/page.py [--seconds 120] [--warm 65] [--stops 24] [--busy 8] [--day]

Eight simulated benches give about ten readings a second each, in real time; a browser shows them
all. Frames per second are counted by the browser, beside those of an empty page; STOP is timed from
the click in the browser to RF off in the simulator's truth, through a second screen, with one bench
at work and with all eight; `--busy` has so many processes compute meanwhile, for a minute at most,
and counts the STOPs of that minute alone. `from_page` leaves out the driver's way into the browser,
which nobody has who presses the button. `loop` is how late a task of the server came that slept
10 ms, which the rest of the machine and the driver of the browser in this process add to;
`callback` the most that one callback of its loop took of the processor, begin of runs included.
`--day` gives the page a day's readings in fast forward. Prints a table and a JSON line. Needs
Chromium.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from timeit import default_timer
from typing import Any, NamedTuple

import anyio
import anyio.from_thread
import anyio.lowlevel
from playwright.sync_api import Page, sync_playwright

from ohmwright.api import open_bench
from ohmwright.api.bench_data import BenchChoice
from ohmwright.model.shipped import shipped
from ohmwright.page import site
from ohmwright.page.benches import BenchOfFile
from ohmwright.page.desk import Desk
from ohmwright.page.practice import PracticeUnit
from ohmwright.page.site import PageSettings, serve
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.wire.machine_priority import run_before_others
from scripts.bench.loop_watch import LoopWatch
from scripts.bench.page_day import day, feed

_BENCHES = 8
_PROCEDURE = """\
title = "Long activations"
revision = "1"
model = "Quillon 300"
[[step]]
kind = "sweep"
name = "long"
stages = ["as_found"]
modes = { cut = [30] }
loads_ohm = [500]
repeats = 40
age_s = 25
max_on_s = 30
rest_s = 1
"""
_BUSY_S = 60
"""Longest time for which processes are kept busy: others may measure on this machine."""
_BEGIN = {"procedure": 0, "work": "as found", "unattended": True}
_CALL = """async ([path, body, key]) => {
  const headers = { 'x-screen-key': sessionStorage.getItem('ohmwright-screen') }
  if (body !== null) headers['content-type'] = 'application/json'
  const begun = performance.now()
  const answer = await fetch(path, { method: 'POST', headers, body: body && JSON.stringify(body) })
  return [answer.status, performance.now() - begun]
}"""
_FRAMES = """(ms) => new Promise((done) => {
  const times = []
  const next = (now) => {
    times.push(now)
    if (now - times[0] < ms) requestAnimationFrame(next)
    else done(times.slice(1).map((time, place) => time - times[place]))
  }
  requestAnimationFrame(next)
})"""


class StopTimes(NamedTuple):
    """What was timed of STOPs, in seconds."""

    whole_s: list[float]
    """From the moment that each was sent to RF off."""
    from_page_s: list[float]
    """From the moment that the page sent each to RF off, at most: without the way to the page."""
    within_s: list[float]
    """From the moment in which the server had it."""
    lags_s: list[float]
    """How late the server's loop was meanwhile."""
    callback_s: float
    """The most that one callback of the loop took of the processor."""


class Watched:
    """The simulated benches of the server, and when RF of each was last seen to go off."""

    def __init__(self) -> None:
        self.benches: list[SimulatedBench] = []
        self.latest: dict[int, int] = {}
        """By the number of a bench, the place of its latest hardware in the list."""
        self.on: dict[int, bool] = {}
        self.off_at: dict[int, float] = {}
        self.asked_at: dict[int, float] = {}
        """When the server was asked to stop a bench."""
        self.loop = LoopWatch()

    def built(self, build: Callable[..., SimulatedBench]) -> Callable[..., SimulatedBench]:
        """Return `build`, whose benches are looked at after each line to their analyzer."""

        def build_watched(*args: Any) -> SimulatedBench:
            bench = build(*args)
            number, port = len(self.benches), bench.analyzer_port
            self.on[number] = False

            def handle(line: bytes) -> bytes:
                reply = port(line)
                is_on = bench.truth.rf_on
                if self.on[number] and not is_on:
                    self.off_at[number] = default_timer()
                self.on[number] = is_on
                return reply

            bench.analyzer_port = handle  # type: ignore[method-assign]
            self.benches.append(bench)
            return bench

        return build_watched


@dataclass
class ServedPage:
    """The page that is served: addresses that admit, its desks, and a way into its event loop."""

    addresses: list[str] = field(default_factory=list)
    desks: list[Desk] = field(default_factory=list)
    token: Any = None

    def feed(self, readings: int) -> None:
        """Have readings given to the first desk from now on."""
        work = partial(feed, self.desks[0], readings)

        def begin() -> None:
            self.task = asyncio.get_running_loop().create_task(work())

        anyio.from_thread.run_sync(begin, token=self.token)


@contextmanager
def served(folder: Path, watched: Watched) -> Iterator[ServedPage]:
    """Serve eight benches until the block ends."""
    (folder / "long.toml").write_text(_PROCEDURE)
    choice = BenchChoice(shipped("benches", "demo.toml"))
    settings = PageSettings(
        benches=tuple(BenchOfFile(choice) for _ in range(_BENCHES)),
        procedures=(folder / "long.toml",),
        records=str(folder / "records"),
        practice=PracticeUnit(),
    )
    page = ServedPage()
    ready, stop = threading.Event(), list[Callable[[], None]]()

    def announce(address: str) -> None:
        page.addresses.append(address)
        ready.set()

    async def work() -> None:
        run_before_others()  # as the command does; on Linux it is for this thread alone
        page.token = token = anyio.lowlevel.current_token()
        with anyio.CancelScope() as scope:
            stop.append(lambda: anyio.from_thread.run_sync(scope.cancel, token=token))
            async with anyio.create_task_group() as tasks:
                tasks.start_soon(watched.loop.watch)
                await serve(settings, announce, _explain)

    class WatchedDesk(Desk):
        def __init__(self, *given: Any) -> None:
            super().__init__(*given)
            page.desks.append(self)

        def stop(self, screen: int | None) -> bool:
            watched.asked_at[self.number] = default_timer()
            return super().stop(screen)

    site.Desk = WatchedDesk  # type: ignore[assignment, attr-defined]
    open_bench.simulated_bench = watched.built(open_bench.simulated_bench)
    thread = threading.Thread(target=anyio.run, args=(work,))
    thread.start()
    ready.wait()
    try:
        yield page
    finally:
        stop[0]()
        thread.join()


def _explain(problem: BaseException) -> Any:
    print(f"a run ended: {problem}")
    return problem


def frames(page: Page, seconds: float) -> tuple[float, float]:
    """Frames per second, and the longest time between two in ms."""
    gaps = page.evaluate(_FRAMES, 1000 * seconds)
    return 1000 * len(gaps) / sum(gaps), max(gaps)


def heap_mb(page: Page) -> float:
    """The page's JavaScript heap in MB, after a collection."""
    session = page.context.new_cdp_session(page)
    session.send("HeapProfiler.collectGarbage")
    used = session.send("Runtime.getHeapUsage")["usedSize"]
    return float(used) / 1e6


def begin(page: Page, watched: Watched, number: int) -> None:
    """Begin a run at a bench as soon as it is free; return once its RF has come on."""
    place = len(watched.benches)
    while page.evaluate(_CALL, [f"/benches/{number}/begin", _BEGIN, None])[0] != 200:
        page.wait_for_timeout(50)
    while len(watched.benches) == place:
        page.wait_for_timeout(10)
    watched.latest[number] = place
    await_rf(page, watched, number)


def await_rf(page: Page, watched: Watched, number: int) -> None:
    """Wait until RF of a bench is on."""
    while not watched.on[watched.latest[number]]:
        page.wait_for_timeout(20)


def stop_times_s(
    page: Page, other: Page, watched: Watched, numbers: Sequence[int], processes: int
) -> StopTimes:
    """Time STOPs at the benches `numbers`, those not stopped at work, beside busy processes.

    Each is sent in `other`, and its bench is begun again afterwards.
    """
    with busy(processes) as goes_on:
        return _stop_times_s(page, other, watched, numbers, goes_on)


def _stop_times_s(
    page: Page,
    other: Page,
    watched: Watched,
    numbers: Sequence[int],
    goes_on: Callable[[], bool],
) -> StopTimes:
    whole, from_page, within = list[float](), list[float](), list[float]()
    watched.loop.begin_anew()
    for n, number in enumerate(numbers):
        await_rf(page, watched, number)
        page.wait_for_timeout(100 + 37 * (n % 10))  # not always at the same age
        if not goes_on() and whole:
            break
        place = watched.latest[number]
        watched.off_at.pop(place, None)
        clicked = default_timer()
        _, answered_ms = other.evaluate(_CALL, [f"/benches/{number}/stop", None, None])
        while place not in watched.off_at:
            page.wait_for_timeout(2)
        whole.append(watched.off_at[place] - clicked)
        within.append(watched.off_at[place] - watched.asked_at[number])
        from_page.append(answered_ms / 1000 + within[-1])
        begin(page, watched, number)
    return StopTimes(whole, from_page, within, watched.loop.lags_s.copy(), watched.loop.longest_s)


@contextmanager
def busy(processes: int) -> Iterator[Callable[[], bool]]:
    """Have processes compute until the block ends or a minute is over; yield whether they do."""
    loop = f"import time; end = time.time() + {_BUSY_S}\nwhile time.time() < end: pass"
    begun = [subprocess.Popen([sys.executable, "-c", loop]) for _ in range(processes)]
    try:
        yield lambda: all(one.poll() is None for one in begun)
    finally:
        for one in begun:
            one.kill()
            one.wait()


def stop_figures(name: str, times: StopTimes) -> dict[str, float]:
    """Median and longest in ms of STOPs."""
    return {
        f"{name}s": float(len(times.whole_s)),
        f"{name}_median_ms": 1000 * median(times.whole_s),
        f"{name}_longest_ms": 1000 * max(times.whole_s),
        f"{name}_from_page_median_ms": 1000 * median(times.from_page_s),
        f"{name}_from_page_longest_ms": 1000 * max(times.from_page_s),
        f"{name}_in_server_median_ms": 1000 * median(times.within_s),
        f"{name}_in_server_longest_ms": 1000 * max(times.within_s),
        f"{name}_loop_longest_ms": 1000 * max(times.lags_s),
        f"{name}_callback_longest_cpu_ms": 1000 * times.callback_s,
    }


def under_load(
    page: Page, other: Page, watched: Watched, given: argparse.Namespace
) -> dict[str, float]:
    """Stops of one bench alone, then frames, memory and stops with eight at work."""
    empty, _ = frames(page, 3)
    begin(page, watched, 1)
    alone = stop_times_s(page, other, watched, [1] * given.stops, given.busy)
    for number in range(2, _BENCHES + 1):
        begin(page, watched, number)
    page.wait_for_timeout(1000 * given.warm)
    before_mb = heap_mb(page)
    rate, longest_ms = frames(page, given.seconds)
    after_mb = heap_mb(page)
    numbers = [1 + n % _BENCHES for n in range(given.stops)]
    return {
        "frames_per_s": rate,
        "frames_per_s_idle": empty,
        "longest_frame_ms": longest_ms,
        "heap_mb": after_mb,
        "heap_growth_mb_per_h": (after_mb - before_mb) * 3600 / given.seconds,
        **stop_figures("stop_idle", alone),
        **stop_figures("stop", stop_times_s(page, other, watched, numbers, given.busy)),
    }


def main() -> None:
    """Print the table and the JSON line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--seconds", type=float, default=120.0)
    parser.add_argument("--warm", type=float, default=65.0, help="until the plots are full")
    parser.add_argument("--stops", type=int, default=24, help="at idle, and with eight at work")
    parser.add_argument("--busy", type=int, default=0, help="processes that compute meanwhile")
    parser.add_argument("--day", action="store_true", help="a day's readings instead of all that")
    parser.add_argument("--day-readings", type=int, default=864_000)
    given = parser.parse_args()
    watched = Watched()
    with TemporaryDirectory(prefix="ohmwright-bench-") as folder, sync_playwright() as playwright:
        for name in ("DATA", "CONFIG", "STATE"):
            os.environ[f"XDG_{name}_HOME"] = folder
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox"]
        )
        with served(Path(folder), watched) as served_page:
            page = browser.new_context(viewport={"width": 1920, "height": 1080}).new_page()
            page.goto(served_page.addresses[-1])
            page.locator(".benches > li").nth(_BENCHES - 1).wait_for()
            if given.day:
                readings = given.day_readings
                feeding = partial(served_page.feed, readings)
                figures = day(page, readings, feeding, frames, heap_mb)
            else:
                other = browser.new_context().new_page()
                other.goto(served_page.addresses[-1])
                other.locator(".benches > li").nth(_BENCHES - 1).wait_for()
                figures = under_load(page, other, watched, given)
        browser.close()
    for name, value in figures.items():
        print(f"{name:32} {value:10.1f}")
    print(json.dumps({"bench": "page_day" if given.day else "page"} | figures))


if __name__ == "__main__":
    main()
