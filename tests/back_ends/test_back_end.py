"""An instrument that a back end of another package works: jobs, proofs, and faults of its code."""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from pathlib import Path

import pytest

from ohmwright.api.bench_data import read_bench
from ohmwright.api.open_back_ends import back_end_analyzer, back_end_generator
from ohmwright.cli import console
from ohmwright.cli.live import LiveView
from ohmwright.engine.activation import activation
from ohmwright.engine.job import Job
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.engine.unasked_rf import ensure_off_at_start
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.analyzer import Reading
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import Operator
from ohmwright.instruments.requests import Request
from ohmwright.model.errors import (
    ActivationVoid,
    LinkError,
    LinkTimeout,
    ProtocolError,
    ReleaseNotConfirmed,
    SourceError,
)
from ohmwright.model.event import RunStarted
from ohmwright.model.step import STAGES
from ohmwright.reports.part_texts import protection_lines
from ohmwright.reports.run_parts import parts_of_run
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.links.memory import MemoryLink

from . import emulator
from .conftest import ANALYZER, bench_files, installed_in

ROOT = Path(__file__).parents[2]


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that Python looks in, with the package installed there."""
    folder = tmp_path / "site"
    folder.mkdir()
    monkeypatch.syspath_prepend(installed_in(folder))
    monkeypatch.delitem(sys.modules, "fenwater_back_ends", raising=False)
    return folder


class Agreeing(Operator):
    """Somebody who is there, and says what is wanted."""

    name = "A. Fenn"

    async def reply(self, request: Request, problem: str) -> str:
        return request.answers[0].word


@asynccontextmanager
async def opened(
    folder: Path, *, own_line: bool = False
) -> AsyncIterator[tuple[Bench, emulator.Bench]]:
    """The bench in virtual time, and the emulated hardware with its truth.

    `own_line`: whether the back end reaches the meter past ohmwright.
    """
    data = read_bench(bench_files(folder, (9, 9)))
    clock = VirtualClock()
    hardware = emulator.Bench(clock.now_s)

    def link(who: str) -> MemoryLink:
        return MemoryLink(who, lambda line: hardware.answer(who, line), clock)

    if own_line:
        sys.modules["fenwater_back_ends"].OwnStilt.hardware = hardware
    async with AsyncExitStack() as stack:
        meter = None if own_line else link("meter")
        analyzer = await back_end_analyzer(data, meter, clock, stack)
        generator = await back_end_generator(data, link("unit"), clock, stack)
        assert analyzer is not None
        assert generator is not None
        bench = Bench(
            data.file.name,
            analyzer,
            generator,
            Agreeing() if own_line else AbsentOperator(),
            clock,
            data.file.asset,
            documents=data.documents,
        )
        yield bench, hardware


@pytest.mark.anyio
async def test_a_unit_is_calibrated_through_back_ends(site: Path, tmp_path: Path) -> None:
    async with opened(tmp_path) as (bench, hardware):
        job = Job(read_procedure(tmp_path / "marrick-cut.toml"), STAGES, "back end")
        events = [event async for event in run(job, bench)]
    verdicts = {(r.stage, r.point): r.verdict for r in results(events)}
    assert verdicts["as_left", "500 ohm"] == verdicts["adjust", "P1"] == "pass"
    assert abs(hardware.unit.stored["P1"]) <= 3  # its current is right at 0
    assert not hardware.rf
    kept = {d.role: d.text for d in bench.documents}
    assert "fenwater-back-ends 1.2" in kept["analyzer back end"]
    assert "class Stilt(" in kept["analyzer back end"]


OWN = """

class OwnStilt(Stilt):
    \"\"\"Reaches the meter by a way of its own.\"\"\"

    def say(self, do, number=None, **more):
        return json.loads(self.hardware.answer("meter", json.dumps(
            {"id": next(self.numbers) if number is None else number, "do": do, **more}
        ).encode()))

    @classmethod
    def release_orders(cls, options):
        return None

    def off(self):
        self.say("open")

    def state(self):
        return self.say("contact")["contact"] != "open"
"""


@pytest.fixture
def own_line(site: Path, tmp_path: Path) -> Path:
    """A bench file whose analyzer's back end opens a way of its own."""
    module, info = site / "fenwater_back_ends.py", next(site.glob("*.dist-info"))
    module.write_text(module.read_text() + OWN)
    points = info / "entry_points.txt"
    points.write_text(points.read_text().replace(":Stilt", ":OwnStilt"))
    bench = bench_files(tmp_path, (9, 9))
    own = 'link = { kind = "own" }\nidentity'
    bench.write_text(re.sub(r"link = .*\nidentity", own, bench.read_text()), encoding="utf-8")
    return bench


@pytest.mark.anyio
async def test_a_way_past_the_guard_is_said_on_screen_record_and_paper(
    own_line: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "NO GUARD" in read_bench(own_line).protections(guarded=True).guard_words
    async with opened(tmp_path, own_line=True) as (bench, hardware):
        job = Job(read_procedure(tmp_path / "marrick-cut.toml"), ("as_left",), "A. Fenn")
        events = [event async for event in run(job, bench)]
        assert not hardware.rf
    assert [r.verdict for r in results(events)] == ["pass"]
    console.err.cache_clear()
    view = LiveView(bench.clock)
    for event in events:
        view.on_event(event)
    assert "NO GUARD" in capsys.readouterr().err
    assert any("NO GUARD" in line for line in protection_lines(parts_of_run(events)))
    started = next(event for event in events if isinstance(event, RunStarted))
    assert started.protections is not None
    assert "guard process" in str(started.protections.lacking_unattended())


def _hang() -> None:
    time.sleep(30)


FAULTS: dict[str, Callable[[], object]] = {
    "raises": lambda: {}["ma"],
    "exits": lambda: sys.exit(0),
    "hangs": _hang,
    "nothing": lambda: None,
    "text": lambda: "412",
    "infinite": lambda: float("inf"),
    "yes": lambda: True,
    "no reading": lambda: Reading(412.0, "7"),  # type: ignore[arg-type]
    "far too much": lambda: Reading(90000.0, 7),
}


@pytest.mark.anyio
@pytest.mark.parametrize("fault", FAULTS)
async def test_code_that_fails_with_rf_on_ends_as_an_error_of_the_line_with_rf_off(
    site: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: str
) -> None:
    async with opened(tmp_path) as (bench, hardware):
        await ensure_off_at_start(bench, PendingEvents())
        stilt = sys.modules["fenwater_back_ends"].Stilt
        monkeypatch.setattr(stilt, "timeout_s", 0.2)
        bench.analyzer._calls._calls.within_s = 0.2

        async def read_once() -> None:
            async with activation(bench, load_ohm=500, power_w=60, limit_s=20):
                assert hardware.rf
                with monkeypatch.context() as once:
                    once.setattr(stilt, "fetch_current", lambda self: FAULTS[fault]())
                    await bench.analyzer.fetch_current()

        with pytest.raises(LinkError, match="fetch_current"):
            await read_once()
        assert not hardware.rf
        assert not await bench.analyzer.output_on()


def _damaged() -> float:
    raise ValueError("a damaged line")


def _missing() -> float:
    raise LinkTimeout("the meter sent no whole reply")


@pytest.mark.anyio
@pytest.mark.parametrize("first", [_damaged, _missing])
async def test_a_reading_that_is_damaged_or_missing_once_is_asked_for_again(
    site: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, first: Callable[[], float]
) -> None:
    async with opened(tmp_path) as (bench, _):
        stilt = sys.modules["fenwater_back_ends"].Stilt
        answers = iter([first, lambda: 412.0])
        monkeypatch.setattr(stilt, "fetch_current", lambda self: next(answers)())
        assert (await bench.analyzer.fetch_current()).current_ma == 412.0


@pytest.mark.anyio
async def test_a_reading_that_is_new_at_each_question_is_believed_where_it_goes_on(
    site: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with opened(tmp_path) as (bench, _):
        package = sys.modules["fenwater_back_ends"]
        rising = iter([package.Reading(412.0 + 20 * n, n) for n in range(20)])
        monkeypatch.setattr(package.Stilt, "fetch_current", lambda self: next(rising))
        assert (await bench.analyzer.fetch_current()).number == 4
        running_back = iter([package.Reading(412.0, n) for n in range(20, 0, -1)])
        monkeypatch.setattr(package.Stilt, "fetch_current", lambda self: next(running_back))
        with pytest.raises(ProtocolError, match="another answer each time"):
            await bench.analyzer.fetch_current()


@pytest.mark.anyio
async def test_a_silent_analyzer_is_not_called_a_faulty_back_end(
    site: Path, tmp_path: Path
) -> None:
    async with opened(tmp_path) as (bench, hardware):
        await ensure_off_at_start(bench, PendingEvents())
        answer = hardware.answer

        def silent(who: str, line: bytes) -> bytes:
            said = answer(who, line)
            return b"" if b'"close"' in line else said

        hardware.answer = silent  # type: ignore[method-assign]
        with pytest.raises(LinkTimeout, match=r"meter sent no whole reply within 0\.5 s") as raised:
            async with activation(bench, load_ohm=500, power_w=60, limit_s=20):
                pass
        assert raised.value.do.startswith("Check power, cable, port and address")
        assert not hardware.rf


@pytest.mark.anyio
async def test_off_needs_nothing_of_code_that_fails_for_good(
    site: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The current cannot be read any more, so RF is not called off; OFF was sent all the same."""
    async with opened(tmp_path) as (bench, hardware):
        await ensure_off_at_start(bench, PendingEvents())
        stilt = sys.modules["fenwater_back_ends"].Stilt

        async def fail_from_on() -> None:
            async with activation(bench, load_ohm=500, power_w=60, limit_s=20):
                for verb in ("say", "identify", "fetch_current"):
                    monkeypatch.setattr(stilt, verb, lambda self, *_, **__: {}["gone"])

        with pytest.raises(ReleaseNotConfirmed):
            await fail_from_on()
        assert not hardware.rf


@pytest.mark.anyio
async def test_a_load_that_somebody_turned_while_rf_was_on_is_found(
    site: Path, tmp_path: Path
) -> None:
    async with opened(tmp_path) as (bench, hardware):
        await ensure_off_at_start(bench, PendingEvents())
        with pytest.raises(ActivationVoid, match=r"200 ohm reads back .* with 500 ohm"):
            async with activation(bench, load_ohm=500, power_w=60, limit_s=20):
                hardware.ohm = 200
        assert not hardware.rf


@pytest.mark.anyio
async def test_a_limit_longer_than_asked_for_is_not_sent(
    site: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with opened(tmp_path) as (bench, _):
        stilt = sys.modules["fenwater_back_ends"].Stilt
        assert bench.analyzer.sent_limit_s(50) == 40  # as the options of the data file say
        monkeypatch.setattr(stilt, "sent_limit_s", lambda self, limit_s: limit_s + 1)
        with pytest.raises(LinkError, match="sent_limit_s"):
            async with activation(bench, load_ohm=500, power_w=60, limit_s=20):
                pytest.fail("it was switched on")


@pytest.mark.parametrize(
    ("said", "complaint"),
    [
        ("longest_s = 40", "unknown key 'longst_s'; the nearest valid key is 'longest_s'"),
        ("options = { longest_s = 40 }\n", "the key 'longest_s' is missing here"),
        ("fenwater-stilt", "no back end 'fenwater-stilx' is installed"),
        ("backend =", "not both"),
    ],
)
def test_a_data_file_is_told_what_is_wrong_with_its_back_end(
    site: Path, tmp_path: Path, said: str, complaint: str
) -> None:
    instead = {
        "longest_s = 40": "longst_s = 40",
        "fenwater-stilt": "fenwater-stilx",
        "backend =": 'command_set = "x"\nbackend =',
    }.get(said, "options = {}\n")
    bench = bench_files(tmp_path, (9, 9))
    (tmp_path / "stilt.toml").write_text(ANALYZER.replace(said, instead), encoding="utf-8")
    with pytest.raises(SourceError, match=complaint):
        read_bench(bench)


def venv_with(folder: Path) -> Path:
    """A virtual environment of its own with the package in it; the path of its Python."""
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", folder], check=True)
    site = next((folder / "lib").iterdir()) / "site-packages"
    installed_in(site)
    ours = [p for p in sys.path if p.endswith("site-packages")]
    adds = "".join(f"import site; site.addsitedir({p!r})\n" for p in ours)
    (site / "ohmwright.pth").write_text(adds, encoding="utf-8")
    return folder / "bin" / "python"


@pytest.mark.skipif(sys.platform == "win32", reason="a venv of POSIX")
def test_from_a_package_in_a_venv_it_conforms_and_its_guard_outlives_the_program(
    served: emulator.Served, tmp_path: Path
) -> None:
    python, bench = venv_with(tmp_path / "venv"), bench_files(tmp_path, served.ports)
    program = [python, "-m", "ohmwright"]
    doctor = [*program, "doctor", "--bench", bench, "--conformance", "--with-rf", "--json"]
    seen = subprocess.run(doctor, input="yes\n", capture_output=True, text=True, check=False)
    findings = {finding["check"]: finding["state"] for finding in json.loads(seen.stdout)}
    bad = [each for each in json.loads(seen.stdout) if each["state"] == "NOT GOOD"]
    assert (seen.returncode, bad) == (0, [])
    for check in ("off opens the output", "guard opens the output", "sets every load"):
        assert findings[check] == "good"
    procedure, records = tmp_path / "marrick-cut.toml", tmp_path / "records"
    job = ["verify", procedure, "--bench", bench, "--records", records, "--unattended"]
    verifying = subprocess.Popen([*program, *job], stdout=subprocess.DEVNULL)
    while not served.bench.rf:
        assert verifying.poll() is None
        time.sleep(0.02)
    os.kill(verifying.pid, signal.SIGKILL)
    verifying.wait()
    killed_s = time.monotonic()
    while served.bench.rf:
        assert time.monotonic() - killed_s < 2, "only its own limit would end RF"
        time.sleep(0.02)
