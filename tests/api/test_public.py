"""The public names: what they refuse before RF, and what an interruption leaves behind."""

from __future__ import annotations

import asyncio
import doctest
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from importlib import import_module
from pathlib import Path
from types import FrameType, ModuleType
from typing import Any, Literal

import pytest

import ohmwright
from ohmwright.api import live_plot
from ohmwright.api.async_bench import AsyncBench
from ohmwright.api.open_records import open_records
from ohmwright.engine import steps
from ohmwright.engine.procedure import Procedure, rebuild
from ohmwright.engine.run_so_far import run_started_event
from ohmwright.engine.steps.base import SettingStep
from ohmwright.engine.steps.instruction import InstructionStep
from ohmwright.engine.steps.output import OutputStep
from ohmwright.model.errors import ReleaseNotConfirmed, UsageError
from ohmwright.model.event import ActivationOpened, Event, Fault, PointDone, TrimMoved
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.result import Result
from ohmwright.model.shipped import shipped
from ohmwright.records.asset_register import AssetChange, AssetRegister
from tests.cli.guide.conftest import ALL_EXAMPLES

MONOPOLAR = shipped("procedures", "demo-monopolar.toml")
PLAN = ohmwright.Sweep(modes={"cut": (150,)}, loads_ohm=(200, 500), rest_s=0)
ONE_ADJUSTMENT = """
title = "Adjust the cut current"
revision = "1"
model = "Quillon 300"

[[step]]
kind = "adjust"
name = "adjust-cut-current"
point = "cut current"
load_ohm = 100
current_ma = 900
tolerance = { absolute_ma = 12 }
"""
WITH_EXAMPLES = ("sweep_plan", "async_bench", "plain_bench", "records_view")


@pytest.mark.parametrize("module", WITH_EXAMPLES)
def test_the_examples_in_docstrings_print_what_they_show(
    module: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for example in ALL_EXAMPLES:
        if example.words[2:] and example.words[2] in ("bench.toml", "cut.toml"):
            Path(example.words[2]).write_text(example.text, encoding="utf-8")
    failed, tried = doctest.testmod(import_module(f"ohmwright.api.{module}"))
    assert (failed, tried > 0) == (0, True)


def test_importing_the_package_imports_nothing_of_its_rooms() -> None:
    program = "import sys, ohmwright; print([m for m in sys.modules if m.startswith('ohmwright.')])"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert done.stdout.strip() == "[]"
    with pytest.raises(AttributeError, match="no attribute 'sweeep'"):
        ohmwright.sweeep  # noqa: B018


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"out": "none/curve.csv"}, "cannot be written"),
        ({"out": "curve.xlsx"}, "cannot be written with this ending"),
        ({"records": "none.txt/records"}, "none.txt"),
    ],
)
def test_what_cannot_be_written_is_refused_before_rf(
    bench_file: Path, tmp_path: Path, records: str, options: dict[str, str], says: str
) -> None:
    (tmp_path / "none.txt").write_text("")
    seen: list[Event] = []
    given: Any = {"records": records} | {k: str(tmp_path / v) for k, v in options.items()}
    with (
        ohmwright.bench(bench_file) as bench,
        pytest.raises(ohmwright.OhmwrightError, match=says),
    ):
        bench.measure(PLAN, on_event=seen.append, **given)
    assert seen == []


def test_a_unit_of_the_register_chooses_what_its_tag_chooses_on_the_command_line(
    bench_file: Path, records: str, tmp_path: Path
) -> None:
    procedure_file = tmp_path / "cut.toml"
    (text,) = {one.text for one in ALL_EXAMPLES if tuple(one.words[2:3]) == ("cut.toml",)}
    procedure_file.write_text(text, encoding="utf-8")
    unit = RegisteredAsset(
        tag="HF-9",
        maker="Tessenhove",
        model="Quillon 300",
        serial="S000012",
        procedure=str(procedure_file),
    )
    with open_records(records) as store:
        AssetRegister(store.database).apply([AssetChange("added", unit, 1)], by="a")
    with ohmwright.bench(bench_file, asset="hf-9", records=records) as bench:
        assert bench.data.file.simulation is not None
        assert bench.data.file.simulation.seed == 12
        bench.measure(PLAN)
        run = bench.run(stages=("as_left",))
    kept = [ohmwright.Records(records)[name] for name in ohmwright.Records(records)]
    assert [one.id for one in kept][1:] == [run.id]
    for one in kept:
        started = run_started_event(one.events)
        assert started is not None
        assert (started.asset.id, started.registered) == ("HF-9", unit)
    for wrong, said in (({"asset": "HF-1"}, "no asset 'HF-1'"), ({"seed": 3}, "each choose")):
        given: Any = {"asset": "HF-9", "records": records} | wrong
        with (
            pytest.raises(ohmwright.OhmwrightError, match=said),
            ohmwright.bench(bench_file, **given),
        ):
            pass


def test_a_unit_of_the_bench_file_that_the_register_has_otherwise_is_refused_before_rf(
    bench_file: Path, records: str
) -> None:
    """Notices a run by Python that counts for another unit, as the tag alone says whose it is."""
    unit = RegisteredAsset(tag="HF-017", maker="Tessenhove", model="Quillon 300", serial="TQ3-9")
    with open_records(records) as store:
        AssetRegister(store.database).apply([AssetChange("added", unit, 1)], by="a")
    with ohmwright.bench(bench_file) as bench:
        for work in (bench.measure, bench.run):
            given: Any = PLAN if work == bench.measure else MONOPOLAR
            with pytest.raises(ohmwright.OhmwrightError, match=r"serial TQ3-20417.*TQ3-9"):
                work(given, records=records)
    assert list(ohmwright.Records(records)) == []


def test_a_plan_that_makes_no_sense_is_refused_by_its_key() -> None:
    for wrong, words in (
        ({"modes": {"cut": [5, 5]}, "loads_ohm": [100]}, "modes.cut: names a value twice"),
        (
            {"modes": {"cut": [5]}, "loads_ohm": [100], "repaets": 2},
            "nearest valid key is 'repeats'",
        ),
        ({"modes": {"cut": [5]}, "loads_ohm": [100, -1]}, "Sweep: loads_ohm entry 2: must be gr"),
        (
            {"modes": ["cut"], "loads_ohm": 100},
            "modes: must be a dict, as in {'key': value}; loads_ohm: must be a list. Correct",
        ),
    ):
        with pytest.raises(ohmwright.OhmwrightError, match=words):
            ohmwright.Sweep(**wrong)


def test_what_the_bench_cannot_do_is_told_by_its_key(bench_file: Path) -> None:
    plan = ohmwright.Sweep(modes={"cut": (9000,), "hot": (1,)}, loads_ohm=(700,))
    with pytest.raises(ohmwright.OhmwrightError) as refused:
        plan.estimate(bench_file)
    for words in ("loads_ohm: the load bank has no 700", "modes: 9000 W", "has no mode 'hot'"):
        assert words in str(refused.value)


def test_a_foreign_certificate_and_an_expired_one_are_refused(
    bench_file: Path, tmp_path: Path, records: str
) -> None:
    bench = tmp_path / "bench.toml"
    shipped = bench_file.parents[1] / "analyzers" / "gantry-400" / "certificate.toml"
    text = bench_file.read_text(encoding="utf-8")
    bench.write_text(text.replace('certificate = "gantry-400"', 'certificate = "own.toml"'))
    own = tmp_path / "own.toml"
    known = shipped.read_text(encoding="utf-8")
    own.write_text('serial = "OTHER-9"\n' + known, encoding="utf-8")
    with (
        ohmwright.bench(bench) as opened,
        pytest.raises(ohmwright.OhmwrightError, match="OTHER-9"),
    ):
        opened.measure(PLAN, records=records)


def test_an_interrupted_sweep_ends_with_rf_off_on_record_and_goes_on(
    bench_file: Path, records: str
) -> None:
    plan = PLAN.model_copy(update={"repeats": 20})
    with ohmwright.bench(bench_file) as bench:
        with pytest.raises(KeyboardInterrupt) as told:
            bench.measure(plan, records=records, on_event=_press_at_a_point)
        assert told.value.__notes__[0].startswith("RF was last read back as off, at 08:0")
        last = ohmwright.Records(records)["last"].events[-1]
        assert isinstance(last, Fault)
        assert (last.error, last.rf_state) == ("Stopped", "off")
        assert len(bench.resume(records=records)) == 40


def _until_a_plain_call_waits() -> None:
    """Return when the main thread waits for what it began: an earlier SIGINT would end tests."""
    files = [""]
    while files[-1] != "plain_bench.py":  # which waits for a result, as the two above it do
        threading.Event().wait(0.01)
        frame: FrameType | None = sys._current_frames()[threading.main_thread().ident or 0]
        files = []
        while frame is not None and len(files) < 3:
            files.append(Path(frame.f_code.co_filename).name)
            frame = frame.f_back


def test_an_interruption_after_which_rf_is_not_read_as_off_ends_with_that(
    bench_file: Path, records: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def silent(*_: object, **__: object) -> None:
        await asyncio.to_thread(_until_a_plain_call_waits)
        os.kill(os.getpid(), signal.SIGINT)
        try:
            await asyncio.Event().wait()
        except asyncio.CancelledError:
            raise ReleaseNotConfirmed("RF MAY STILL BE ON") from None

    monkeypatch.setattr(AsyncBench, "measure", silent)
    with ohmwright.bench(bench_file) as bench, pytest.raises(ReleaseNotConfirmed) as told:
        bench.measure(PLAN, records=records)
    assert isinstance(told.value.__cause__, KeyboardInterrupt)


def test_who_interrupts_once_more_waits_for_the_release_as_well(
    bench_file: Path, records: str
) -> None:
    """The job holds still for a while after each Ctrl-C, and is on record as ended all the same."""

    def pressed_twice(event: Event) -> None:
        for _ in range(2):
            _press_at_a_point(event)
            threading.Event().wait(0.3 if isinstance(event, PointDone) else 0.0)

    with ohmwright.bench(bench_file) as bench:
        with pytest.raises(KeyboardInterrupt):
            bench.measure(PLAN, records=records, on_event=pressed_twice)
        assert isinstance(ohmwright.Records(records)["last"].events[-1], Fault)


def test_an_interruption_is_heard_where_the_call_holds_up_a_loop_that_runs(
    bench_file: Path, records: str
) -> None:
    """As in a notebook cell with an `await`: there SIGINT would have the loop cancel the cell."""
    plan = PLAN.model_copy(update={"repeats": 20})  # it is still at work when this is heard

    async def cell() -> None:
        cancel = asyncio.get_running_loop().call_soon_threadsafe
        task = asyncio.current_task()
        assert task is not None
        signal.signal(signal.SIGINT, lambda *_: cancel(task.cancel))
        asks = signal.getsignal(signal.SIGINT)
        await asyncio.sleep(0)
        with ohmwright.bench(bench_file) as bench:
            with pytest.raises(KeyboardInterrupt):
                bench.measure(plan, records=records, on_event=_press_at_a_point)
            assert signal.getsignal(signal.SIGINT) is asks

    asyncio.run(cell())
    run = ohmwright.Records(records)["last"]
    assert 1 <= len(run.results) < 40
    assert run.events[-1].rf_state == "off"


def _press_at_a_point(event: Event) -> None:
    if isinstance(event, PointDone):
        os.kill(os.getpid(), signal.SIGINT)


def test_a_cancelled_task_and_a_loop_that_is_left_end_with_rf_off_on_record(
    bench_file: Path, records: str
) -> None:
    async def left() -> None:
        async with ohmwright.open_bench(bench_file) as bench:
            opened = asyncio.Event()

            def note(event: Event) -> None:
                if isinstance(event, ActivationOpened):
                    opened.set()

            task = asyncio.ensure_future(bench.measure(PLAN, records=records, on_event=note))
            await opened.wait()
            task.cancel()
            with pytest.raises(asyncio.CancelledError):
                await task

    asyncio.run(left())
    last = ohmwright.Records(records)["last"].events[-1]
    assert isinstance(last, Fault)
    assert (last.error, last.rf_state) == ("Stopped", "off")


def test_points_that_nobody_asks_for_any_more_end_with_that_on_record(
    bench_file: Path, records: str
) -> None:
    with ohmwright.bench(bench_file) as bench:
        for point in bench.points(PLAN, records=records):
            assert point.load_ohm == 200
            break
        last = ohmwright.Records(records)["last"].events[-1]
    assert isinstance(last, Fault)
    assert (last.error, last.rf_state) == ("Stopped", "off")


def test_a_second_job_is_refused_while_one_goes_on_and_leaves_it_alone(
    bench_file: Path, records: str
) -> None:
    async def two() -> None:
        async with ohmwright.open_bench(bench_file) as bench:
            first = asyncio.ensure_future(bench.measure(PLAN, records=records))
            await asyncio.sleep(0)
            for second in (
                bench.measure(PLAN, records=records),
                anext(bench.points(PLAN, records=records)),
                bench.resume(records=records),
                bench.run("any.toml", records=records),
            ):
                with pytest.raises(UsageError, match="works for another sweep or run"):
                    await second
            assert len(await first) == 2
            assert len(await bench.measure(PLAN, records=records)) == 2

    asyncio.run(two())
    assert len(list(ohmwright.Records(records))) == 2


def test_a_second_thread_is_refused_while_the_points_of_a_first_go_on(
    bench_file: Path, records: str
) -> None:
    with ohmwright.bench(bench_file) as bench, ThreadPoolExecutor(1) as other:
        points = bench.points(PLAN, records=records)
        next(points)
        with pytest.raises(UsageError, match="works for another sweep or run"):
            other.submit(bench.measure, PLAN, records=records).result()
        assert [point.load_ohm for point in points] == [500]
        assert len(bench.measure(PLAN, records=records)) == 2


def test_benches_side_by_side_measure_what_they_do_one_by_one(
    bench_file: Path, tmp_path: Path
) -> None:
    async def measured(seed: int, place: str) -> list[float]:
        async with ohmwright.open_bench(bench_file, seed=seed) as bench:
            return [p.power_w for p in await bench.measure(PLAN, records=str(tmp_path / place))]

    async def together() -> list[list[float]]:
        return await asyncio.gather(*(measured(seed, f"t{seed}") for seed in range(4)))

    alone = [asyncio.run(measured(seed, f"a{seed}")) for seed in range(4)]
    assert asyncio.run(together()) == alone


ONE_ADJUSTMENT = """
title = "One adjustment"
revision = "1"
model = "Quillon 300"

[[step]]
kind = "output"
name = "cut"
mode = "cut"
setting_w = 310
load_ohm = 100
current_ma = 900
tolerance = { absolute_ma = 18 }

[[step]]
kind = "adjust"
name = "adjust"
point = "cut current"
load_ohm = 100
current_ma = 900
tolerance = { absolute_ma = 9 }
max_on_s = 40
"""


def test_three_benches_calibrate_side_by_side_as_they_do_one_by_one(
    bench_file: Path, tmp_path: Path
) -> None:
    procedure = tmp_path / "p.toml"
    procedure.write_text(ONE_ADJUSTMENT, encoding="utf-8")

    async def calibrated(seed: int, place: str) -> list[Result]:
        async with ohmwright.open_bench(bench_file, seed=seed) as bench:
            run = await bench.run(
                procedure, stages=("adjust", "as_left"), records=str(tmp_path / place)
            )
            return list(run.results)

    async def together() -> list[list[Result]]:
        return await asyncio.gather(*(calibrated(seed, f"t{seed}") for seed in range(3)))

    alone = [asyncio.run(calibrated(seed, f"a{seed}")) for seed in range(3)]
    assert asyncio.run(together()) == alone
    assert len({results[0].measured for results in alone}) == 3, "units that differ"


def test_a_step_of_ones_own_is_read_and_replaced_and_a_taken_name_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(steps, "_ADDED", {})

    def made(kind: str) -> type:
        class TeaStep(InstructionStep):
            """Tea."""

            kind: Literal["tea"]
            text: str = "Have tea."

        TeaStep.__annotations__["kind"] = kind
        return TeaStep

    try:
        ohmwright.register_step(made("tea"))
        ohmwright.register_step(made("tea"))
        data = {"kind": "tea", "name": "tea"}
        whole = {"title": "t", "revision": "1", "model": "m", "step": [data]}
        assert Procedure.model_validate(whole).step[0].text == "Have tea."

        class Other(OutputStep):
            """Another output."""

        class Half(SettingStep):
            """Says nothing of its points, nor how it is run."""

            kind: Literal["half"]

        class Both(InstructionStep):
            """Of two names, one of which is taken."""

            kind: Literal["coffee", "output"]

        unusable: list[tuple[Any, str]] = [
            (Other, "there is a step kind 'output' already"),
            (Both, "there is a step kind 'output' already"),
            (Half, "Half lacks what each Step needs: points, run"),
            (dict, "dict is no class derived from Step"),
            (3, "3 is no class derived from Step"),
        ]
        for kind, says in unusable:
            with pytest.raises(ValueError, match=says):
                ohmwright.register_step(kind)
        assert {*steps._ADDED} == {"tea"}
    finally:
        monkeypatch.undo()
        steps.step_kinds.cache_clear()
        rebuild()


def test_a_live_plot_draws_in_place(
    bench_file: Path, records: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[str] = []

    class Handle:
        def update(self, picture: Any) -> None:
            drawn.append(picture._repr_svg_())

    def display(picture: Any, *, display_id: bool) -> Handle:
        assert display_id
        drawn.append(picture._repr_svg_())
        return Handle()

    package, module = ModuleType("IPython"), ModuleType("IPython.display")
    package.version_info, module.display = (9, 0), display
    package.get_ipython = object
    monkeypatch.setitem(sys.modules, "IPython", package)
    monkeypatch.setitem(sys.modules, "IPython.display", module)
    live: Callable[[Event], None] = live_plot.LivePlot(band=20)
    with ohmwright.bench(bench_file) as bench:
        bench.measure(PLAN, records=records, on_event=live)
    assert len(drawn) == len(set(drawn)) == 2
    assert "SIMULATED" in drawn[0]
    with pytest.raises(ohmwright.OhmwrightError, match="there is no such file"):
        live_plot.LivePlot(band="none.toml")


def test_a_live_plot_that_draws_nothing_says_so() -> None:
    with pytest.warns(UserWarning, match="this is none: nothing is drawn"):
        live_plot.LivePlot()


def test_with_and_async_with_mixed_up_are_told_apart(bench_file: Path) -> None:
    async def mixed_up() -> None:
        async with ohmwright.bench(bench_file):
            raise AssertionError("a bench was opened")

    with (
        pytest.raises(UsageError, match="open_bench opens at 'async with'"),
        ohmwright.open_bench(bench_file),
    ):
        raise AssertionError("a bench was opened")
    with pytest.raises(UsageError, match="bench opens at 'with'"):
        asyncio.run(mixed_up())
    for function, way in ((ohmwright.bench, "with"), (ohmwright.open_bench, "async with")):
        words = f"nothing is opened yet: write '{way} ohmwright.{function.__name__}"
        with pytest.raises(AttributeError, match=words):
            function(bench_file).measure(PLAN)


def test_a_unit_of_another_model_than_its_generator_s_is_refused(
    bench_file: Path, tmp_path: Path
) -> None:
    other = tmp_path / "bench.toml"
    text = bench_file.read_text(encoding="utf-8")
    other.write_text(text.replace('model = "Quillon 300"', 'model = "Quillon 30"'), "utf-8")
    words = (
        r"bench\.toml:\d+:\d+: the unit is a Quillon 30, and the data of its generator are those"
    )
    with pytest.raises(ohmwright.OhmwrightError, match=words), ohmwright.bench(other):
        raise AssertionError("a bench was opened")


def test_records_answer_by_unit_and_date_and_a_run_has_its_papers(
    bench_file: Path, records: str, tmp_path: Path
) -> None:
    procedure = bench_file.parents[1] / "procedures" / "demo-monopolar.toml"
    with ohmwright.bench(bench_file) as bench:
        bench.measure(PLAN, records=records)
        run = bench.run(procedure, stages=["as_found"], records=records)
    known = ohmwright.Records(records)
    assert len(list(known)) == len(known.runs()) == 2
    assert known["last"].id == run.id
    assert [known[one].events[0].work for one in known] == ["sweep", "procedure"]
    frame = known.results(model="Quillon 300", verdict="fail").to_pandas()
    assert len(frame) == [result.verdict for result in run.results].count("fail")
    assert known.results(model="other") == ()
    run.certificate(tmp_path / "paper.html")
    assert run.id in (tmp_path / "paper.html").read_text(encoding="utf-8")
    with pytest.raises(ohmwright.OhmwrightError, match="cannot be written with this ending"):
        run.certificate(tmp_path / "paper.doc")
    with pytest.raises(ohmwright.OhmwrightError, match="no point of a sweep"):
        run.curve  # noqa: B018


def test_what_fails_to_show_a_sweep_is_said_so_on_record(bench_file: Path, records: str) -> None:
    def fails(event: Event) -> None:
        if isinstance(event, PointDone):
            raise ZeroDivisionError

    with ohmwright.bench(bench_file) as bench, pytest.raises(ZeroDivisionError):
        bench.measure(PLAN, on_event=fails, records=records)
    last = ohmwright.Records(records)["last"].events[-1]
    assert isinstance(last, Fault)
    assert last.message.startswith("The program that showed the run failed: ZeroDivisionError")
    assert last.rf_state == "off"


@pytest.mark.parametrize("stages", ["asleft", ["asleft"], ("as_found", "adust")])
def test_a_stage_that_there_is_not_is_refused_and_begins_no_run(
    stages: Any, bench_file: Path, records: str
) -> None:
    procedure = bench_file.parents[1] / "procedures" / "demo-monopolar.toml"
    with ohmwright.bench(bench_file) as bench, pytest.raises(UsageError, match="There is no stage"):
        bench.run(procedure, stages=stages, records=records)
    assert not Path(records).exists()


def test_a_run_that_goes_on_finds_its_simulated_unit_as_it_was_left(
    bench_file: Path, records: str, tmp_path: Path
) -> None:
    procedure = tmp_path / "adjust.toml"
    procedure.write_text(ONE_ADJUSTMENT, encoding="utf-8")
    moved: list[Event] = []

    def stop_once_adjusted(event: Event) -> None:
        if isinstance(event, TrimMoved):
            moved.append(event)
        if isinstance(event, PointDone) and event.result.stage == "adjust":
            raise RuntimeError("stopped by the test")

    with ohmwright.bench(bench_file) as bench, pytest.raises(RuntimeError):
        bench.run(procedure, records=records, on_event=stop_once_adjusted)
    with ohmwright.bench(bench_file) as bench:
        stored = len(moved)
        run = bench.run(procedure, records=records, resume="last", on_event=moved.append)
    assert stored
    assert not [event for event in moved[stored:] if isinstance(event, TrimMoved)]
    assert run.verdict == "pass"


def test_another_event_loop_is_refused_before_anything_is_opened(bench_file: Path) -> None:
    """Any loop but asyncio's is like none: what waits is driven by hand here."""

    async def open_and_close() -> None:
        async with ohmwright.open_bench(bench_file):
            raise AssertionError("a bench was opened")

    with pytest.raises(UsageError, match="event loop of asyncio"):
        open_and_close().send(None)


@pytest.mark.parametrize("seed", ["x", -1, 2.5, True])
def test_a_seed_that_chooses_no_unit_is_refused(bench_file: Path, seed: object) -> None:
    with pytest.raises(UsageError, match="does not"), ohmwright.bench(bench_file, seed=seed):
        raise AssertionError("a bench was opened")


def test_a_bench_whose_block_has_ended_measures_nothing(bench_file: Path, records: str) -> None:
    plan = ohmwright.Sweep(modes={"cut": [150]}, loads_ohm=[200, 500])
    with ohmwright.bench(bench_file) as bench:
        points = bench.points(plan, records=records)
        next(points)
    ended = ohmwright.Records(records)["last"].events[-1]
    assert (ended.kind, ended.error, ended.rf_state) == ("fault", "Stopped", "off")

    async def measured_later() -> None:
        async with ohmwright.open_bench(bench_file) as opened:
            pass
        await opened.measure(plan, records=records)

    for measure in (
        lambda: next(points),
        lambda: bench.measure(plan, records=records),
        lambda: bench.run("any.toml", records=records),
        lambda: asyncio.run(measured_later()),
    ):
        with pytest.raises(UsageError, match="This bench is closed"):
            measure()
    assert len(list(ohmwright.Records(records))) == 1
