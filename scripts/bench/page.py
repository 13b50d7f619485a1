"""The page under load: eight benches with RF on, frames, memory, and how soon STOP acts.

    python scripts/bench/page.py [--seconds 120] [--warm 65]

Eight simulated benches give about ten readings a second each, in real time; a browser shows them
all. Frames per second are counted by the browser, beside those of an empty page; STOP is timed from
the click in the browser to RF off in the simulator's truth, through a second screen. Prints one
table and a JSON line. Needs Chromium.
"""

from __future__ import annotations

import argparse
import json
import os
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from timeit import default_timer
from typing import Any

import anyio
import anyio.from_thread
import anyio.lowlevel
from playwright.sync_api import Page, sync_playwright

from ohmwright.api import open_bench
from ohmwright.api.bench_data import BenchChoice
from ohmwright.model.shipped import shipped
from ohmwright.page.benches import BenchOfFile
from ohmwright.page.desk import Desk
from ohmwright.page.practice import PracticeUnit
from ohmwright.page.site import PageSettings, serve
from ohmwright.simulator.bench import SimulatedBench

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
_BEGIN = {"procedure": 0, "work": "as found", "unattended": True}
_CALL = """async ([path, body, key]) => {
  const headers = { 'x-screen-key': sessionStorage.getItem('ohmwright-screen') }
  if (body !== null) headers['content-type'] = 'application/json'
  const answer = await fetch(path, { method: 'POST', headers, body: body && JSON.stringify(body) })
  return answer.status
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


class Watched:
    """The simulated benches of the server, and when RF of each was last seen to go off."""

    def __init__(self) -> None:
        self.benches: list[SimulatedBench] = []
        self.off_at: dict[int, float] = {}
        self.asked_at: dict[int, float] = {}
        """When the server was asked to stop a bench."""

    def built(self, build: Callable[..., SimulatedBench]) -> Callable[..., SimulatedBench]:
        """Return `build`, whose benches are looked at after each line to their analyzer."""

        def build_watched(*args: Any) -> SimulatedBench:
            bench = build(*args)
            number, port = len(self.benches), bench.analyzer_port
            was_on = [False]

            def handle(line: bytes) -> bytes:
                reply = port(line)
                is_on = bench.truth.rf_on
                if was_on[0] and not is_on:
                    self.off_at[number] = default_timer()
                was_on[0] = is_on
                return reply

            bench.analyzer_port = handle  # type: ignore[method-assign]
            self.benches.append(bench)
            return bench

        return build_watched


@contextmanager
def served(folder: Path, watched: Watched) -> Iterator[list[str]]:
    """Serve eight benches until the block ends; yields the addresses that admit."""
    (folder / "long.toml").write_text(_PROCEDURE)
    choice = BenchChoice(shipped("benches", "demo.toml"))
    settings = PageSettings(
        benches=tuple(BenchOfFile(choice) for _ in range(_BENCHES)),
        procedures=(folder / "long.toml",),
        records=str(folder / "records"),
        practice=PracticeUnit(),
    )
    addresses: list[str] = []
    ready, stop = threading.Event(), list[Callable[[], None]]()

    def announce(address: str) -> None:
        addresses.append(address)
        ready.set()

    async def work() -> None:
        token = anyio.lowlevel.current_token()
        with anyio.CancelScope() as scope:
            stop.append(lambda: anyio.from_thread.run_sync(scope.cancel, token=token))
            await serve(settings, announce, _explain)

    stop_run = Desk.stop

    def stop_watched(desk: Desk) -> bool:
        watched.asked_at[desk.number - 1] = default_timer()
        return stop_run(desk)

    Desk.stop = stop_watched  # type: ignore[assignment, method-assign]
    open_bench.simulated_bench = watched.built(open_bench.simulated_bench)
    thread = threading.Thread(target=anyio.run, args=(work,))
    thread.start()
    ready.wait()
    try:
        yield addresses
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


def begin(page: Page, number: int) -> None:
    """Begin a run at a bench."""
    assert page.evaluate(_CALL, [f"/benches/{number}/begin", _BEGIN, None]) == 200


def await_rf(page: Page, number: int) -> None:
    """Wait until the card of a bench shows RF on."""
    page.locator(f".benches > li:nth-child({number}) .rf[data-look=on]").wait_for(timeout=60_000)


def stop_times_s(page: Page, other: Page, watched: Watched) -> tuple[list[float], list[float]]:
    """Seconds from a STOP to RF off, bench after bench, the others at work.

    From the moment that it is sent in `other`, and from that in which the server has it.
    """
    whole, within = [], []
    for number in range(1, _BENCHES + 1):
        await_rf(page, number)
        watched.off_at.pop(number - 1, None)
        clicked = default_timer()
        other.evaluate(_CALL, [f"/benches/{number}/stop", None, None])
        while number - 1 not in watched.off_at:
            page.wait_for_timeout(2)
        whole.append(watched.off_at[number - 1] - clicked)
        within.append(watched.off_at[number - 1] - watched.asked_at[number - 1])
    return whole, within


def main() -> None:
    """Print the table and the JSON line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--seconds", type=float, default=120.0)
    parser.add_argument("--warm", type=float, default=65.0, help="until the plots are full")
    given = parser.parse_args()
    watched = Watched()
    with TemporaryDirectory(prefix="ohmwright-bench-") as folder, sync_playwright() as playwright:
        for name in ("DATA", "CONFIG", "STATE"):
            os.environ[f"XDG_{name}_HOME"] = folder
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=["--no-sandbox"]
        )
        with served(Path(folder), watched) as addresses:
            page = browser.new_context(viewport={"width": 1920, "height": 1080}).new_page()
            page.goto(addresses[-1])
            page.locator(".benches > li").nth(_BENCHES - 1).wait_for()
            empty, _ = frames(page, 3)
            other = browser.new_context().new_page()
            other.goto(addresses[-1])
            other.locator(".benches > li").nth(_BENCHES - 1).wait_for()
            for number in range(1, _BENCHES + 1):
                begin(page, number)
                page.wait_for_timeout(300)  # so that benches are opened in their order
            await_rf(page, _BENCHES)
            page.wait_for_timeout(1000 * given.warm)
            before_mb = heap_mb(page)
            rate, longest_ms = frames(page, given.seconds)
            after_mb = heap_mb(page)
            stops_s, within_s = stop_times_s(page, other, watched)
        browser.close()
    figures = {
        "frames_per_s": rate,
        "frames_per_s_idle": empty,
        "longest_frame_ms": longest_ms,
        "heap_mb": after_mb,
        "heap_growth_mb_per_h": (after_mb - before_mb) * 3600 / given.seconds,
        "stop_median_ms": 1000 * median(stops_s),
        "stop_longest_ms": 1000 * max(stops_s),
        "stop_in_server_median_ms": 1000 * median(within_s),
        "stop_in_server_longest_ms": 1000 * max(within_s),
    }
    for name, value in figures.items():
        print(f"{name:24} {value:8.1f}")
    print(json.dumps({"bench": "page"} | figures))


if __name__ == "__main__":
    main()
