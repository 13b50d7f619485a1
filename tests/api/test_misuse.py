"""What a program gives that makes no sense is refused by its name, before anything is on record."""

from __future__ import annotations

import asyncio
import gc
import multiprocessing
import os
import subprocess
import sys
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError

import ohmwright
from ohmwright.api.run_of_record import Run
from ohmwright.engine.stop_rules import UntilSettled
from ohmwright.model.errors import UsageError
from ohmwright.model.event import Event, Fault, PointDone
from ohmwright.model.result import Measured

PLAN = ohmwright.Sweep(modes={"cut": (150,)}, loads_ohm=(200, 500), rest_s=0)


async def _awaitable(_: Event) -> None:
    """An `on_event` that nobody would await."""


@pytest.mark.parametrize(
    ("plan", "options", "says"),
    [
        (PLAN, {"outt": "x.csv"}, "unknown option 'outt'; the nearest valid option is 'out'"),
        (PLAN, {"on_event": 3}, "on_event= takes a function, not 3"),
        (PLAN, {"overwrite": "no"}, "overwrite= takes True or False, not 'no'"),
        (PLAN, {"accept_expired": "no"}, "accept_expired= takes True or False, not 'no'"),
        (PLAN, {"on_event": _awaitable}, "nobody would await what it returns"),
        ("plan.toml", {}, "A Sweep is wanted, not 'plan.toml'"),
        ({"modes": {}}, {}, "A Sweep is wanted"),
        (None, {}, "A Sweep is wanted, not None"),
    ],
)
@pytest.mark.parametrize("call", ["measure", "points"])
def test_a_sweep_of_the_wrong_things_is_refused_before_its_record(
    call: str, plan: Any, options: dict[str, Any], says: str, bench_file: Path, records: str
) -> None:
    with ohmwright.bench(bench_file) as bench, pytest.raises(UsageError, match=says):
        list(getattr(bench, call)(plan, records=records, **options))
    assert not Path(records).exists()


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"stage": ["as_found"]}, "unknown option 'stage'; the nearest valid option is 'stages'"),
        ({"stages": []}, "No stage is named"),
        ({"on_event": 3}, "on_event= takes a function"),
    ],
)
def test_a_run_with_wrong_options_is_refused_before_its_record(
    options: dict[str, Any], says: str, bench_file: Path, records: str
) -> None:
    procedure = bench_file.parents[1] / "procedures" / "demo-monopolar.toml"
    with ohmwright.bench(bench_file) as bench, pytest.raises(UsageError, match=says):
        bench.run(procedure, records=records, **options)
    assert not Path(records).exists()


@pytest.mark.parametrize("value", [True, "500", np.bool_(True)])
def test_a_sweep_takes_numbers_alone_as_a_file_does(value: Any) -> None:
    """True was a load resistance of 1 ohm."""
    for given in ({"loads_ohm": [value]}, {"modes": {"cut": [value]}}):
        with pytest.raises(UsageError, match="entry 1: must be a number"):
            ohmwright.Sweep(**{"modes": {"cut": [150]}, "loads_ohm": [500], **given})


def test_numbers_of_other_libraries_are_numbers() -> None:
    plan = ohmwright.Sweep(
        modes={"cut": np.array([150], dtype=np.int32)},
        loads_ohm=[Decimal(200), Fraction(500), np.float32(1000)],
    )
    assert plan.loads_ohm == (200, 500, 1000)


def test_a_run_is_named_by_its_number(bench_file: Path, records: str) -> None:
    """A Run was said to be a fault of the database."""
    procedure = bench_file.parents[1] / "procedures" / "demo-monopolar.toml"
    with ohmwright.bench(bench_file) as bench:
        run: Any = bench.run(procedure, stages=["as_found"], records=records)
        for name in (lambda: bench.resume(run), lambda: bench.run(procedure, resume=run)):
            with pytest.raises(UsageError, match=r"named by its number, not by <Run"):
                name()
        nothing: Any = None
        with pytest.raises(UsageError, match="named by its number, not by None"):
            bench.resume(nothing, records=records)
    with pytest.raises(UsageError, match="named by its number"):
        ohmwright.Records(records)[run]
    assert ohmwright.Records(records)[run.id].verdict == run.verdict


@pytest.mark.parametrize("operator", ["A. Fenn", lambda request: "done"])
def test_who_cannot_answer_requests_is_no_operator(operator: Any, bench_file: Path) -> None:
    with (
        pytest.raises(UsageError, match="operator= takes an Operator"),
        ohmwright.bench(bench_file, operator=operator),
    ):
        raise AssertionError("a bench was opened")


def test_places_are_given_as_paths_too(bench_file: Path, records: str, tmp_path: Path) -> None:
    place, out = Path(records), tmp_path / "curve.csv"
    with ohmwright.bench(bench_file) as bench:
        curve = bench.measure(PLAN, records=place, out=out)
        procedure = bench_file.parents[1] / "procedures" / "demo-monopolar.toml"
        run = bench.run(procedure, stages=["as_found"], records=place)
    assert len(ohmwright.read(out)) == len(curve)
    assert ohmwright.Records(place)["last"].verdict == run.verdict
    run.certificate(tmp_path / "paper.html")


@pytest.mark.parametrize("given", [3, None, b"bench.toml"])
def test_what_is_no_path_is_refused_by_its_name(
    given: Any, bench_file: Path, records: str, tmp_path: Path
) -> None:
    with (
        pytest.raises(UsageError, match="a bench takes a path, not"),
        ohmwright.bench(given),
    ):
        raise AssertionError("a bench was opened")
    certificate = Run(None, "", ()).certificate
    rehearse = partial(ohmwright.rehearse, bench=bench_file)
    for call in (PLAN.estimate, ohmwright.Sweep.read, ohmwright.read, certificate, rehearse):
        with pytest.raises(UsageError, match=r"takes a path, not"):
            call(given)
    with ohmwright.bench(bench_file) as bench:
        with pytest.raises(UsageError, match="out= takes a path, not"):
            bench.measure(PLAN, out=given, records=records)
        if given is not None:
            with pytest.raises(UsageError, match="records= takes a path, not"):
                bench.measure(PLAN, records=given)
    assert not Path(records).exists()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork here")
def test_a_fork_is_refused_the_bench_of_its_parent(bench_file: Path, records: str) -> None:
    forked = multiprocessing.get_context("fork")
    told = forked.SimpleQueue()

    def measure(bench: Any) -> None:
        try:
            bench.measure(PLAN, records=records)
        except UsageError as refused:
            told.put(str(refused))

    with ohmwright.bench(bench_file) as bench:
        child = forked.Process(target=measure, args=(bench,))
        child.start()
        child.join(30)
        child.kill()
        assert child.exitcode == 0
        assert "opened by another process, of which this one is a fork" in told.get()
        assert len(bench.measure(PLAN, records=records)) == 2


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork here")
def test_a_fork_leaves_the_block_at_once_and_the_bench_to_its_parent(
    bench_file: Path, records: str
) -> None:
    """In a program of its own, whose child says what is left open as Python ends."""
    program = f"""
import os, signal, sys, ohmwright
plan = ohmwright.Sweep(modes={{"cut": [150]}}, loads_ohm=[200, 500], rest_s=0)
with ohmwright.bench({str(bench_file)!r}) as bench:
    points = bench.points(plan, records={records!r})
    next(points)
    child = os.fork()
    if child:
        print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), len(list(points)))
    else:
        signal.alarm(60)  # it waited for ever
        sys.exit(7)
"""
    ended = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=False
    )
    assert (ended.returncode, ended.stdout, ended.stderr) == (0, "7 1\n", "")


def test_a_block_is_begun_once(bench_file: Path) -> None:
    opening = ohmwright.bench(bench_file)
    with opening:
        pass
    with pytest.raises(UsageError, match="opens one block"), opening:
        raise AssertionError("a bench was opened")

    async def twice() -> None:
        opening = ohmwright.open_bench(bench_file)
        for _ in range(2):
            async with opening:
                pass

    with pytest.raises(UsageError, match="opens one block"):
        asyncio.run(twice())


_ENDS = pytest.mark.parametrize(
    "ends", [SystemExit(3), KeyboardInterrupt(), GeneratorExit(), pytest.fail.Exception("a check")]
)


@_ENDS
def test_a_program_that_ends_in_on_event_ends_with_that_on_record(
    ends: BaseException, bench_file: Path, records: str
) -> None:
    def leave(event: Event) -> None:
        if isinstance(event, PointDone | Fault):
            raise ends

    with ohmwright.bench(bench_file) as bench:
        with pytest.raises(type(ends)):
            bench.measure(PLAN, records=records, on_event=leave)
        last = ohmwright.Records(records)["last"].events[-1]
        assert isinstance(last, Fault)
        assert last.rf_state == "off"
        assert len(bench.resume(records=records)) == 2


@_ENDS
def test_a_program_that_ends_while_rf_is_on_ends_with_that_on_record(
    ends: BaseException, bench_file: Path, records: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a stop rule of one's own does, or a second Ctrl-C within a reading."""

    def leave(*_: object) -> bool:
        raise ends

    monkeypatch.setattr(UntilSettled, "read", leave)
    with ohmwright.bench(bench_file) as bench, pytest.raises(type(ends)):
        bench.measure(PLAN, records=records)
    last = ohmwright.Records(records)["last"].events[-1]
    assert isinstance(last, Fault)
    assert last.rf_state == "off"
    assert last.on_s > 0


def test_a_bench_is_not_used_within_its_own_on_event(bench_file: Path, records: str) -> None:
    with ohmwright.bench(bench_file) as bench:

        def again(_: Event) -> None:
            bench.measure(PLAN, records=records)

        with pytest.raises(UsageError, match="works for another sweep or run"):
            bench.measure(PLAN, records=records, on_event=again)


@pytest.mark.parametrize("kept", [True, False])
def test_a_block_ends_once_the_points_left_early_have_ended(
    kept: bool, bench_file: Path, records: str, caplog: pytest.LogCaptureFixture
) -> None:
    """Dropped points are ended by the loop, in a task of its own: lines were closed before."""

    async def left(leave: Callable[[Any], None]) -> None:
        async with ohmwright.open_bench(bench_file) as bench:
            points = bench.points(PLAN, records=records)
            leave(points)
            async for _ in points:
                break
            del points

    held: list[Any] = []
    asyncio.run(left(held.append if kept else lambda _: None))
    gc.collect()
    last = ohmwright.Records(records)["last"].events[-1]
    assert isinstance(last, Fault)
    assert (last.error, last.rf_state) == ("Stopped", "off")
    assert caplog.text == ""


def test_a_fault_of_a_program_is_on_record_with_its_kind(
    bench_file: Path, records: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A KeyError says its key alone, and pydantic the address of a page of its own."""

    def fails(*_: object) -> None:
        Measured.model_validate({"quantity": "power_w"})

    monkeypatch.setattr("ohmwright.engine.steps.sweep.SweepStep.run", fails)
    with ohmwright.bench(bench_file) as bench, pytest.raises(ValidationError):
        bench.measure(PLAN, records=records)
    last = ohmwright.Records(records)["last"].events[-1]
    assert isinstance(last, Fault)
    assert last.message.startswith("ValidationError: 4 validation errors for Measured value")
    assert "http" not in last.message


def test_what_a_notebook_shows_takes_one_line(bench_file: Path, records: str) -> None:
    """A budget for each point, or each result, fills screens."""
    procedure = bench_file.parents[1] / "procedures" / "demo-monopolar.toml"
    with ohmwright.bench(bench_file) as bench:
        assert repr(bench) == f"<bench {bench.data.file.name}>"
        point = bench.measure(PLAN, records=records)[1]
        run = bench.run(procedure, stages=["as_found"], records=records)
    assert repr(bench).endswith(", closed>")
    value = f"{point.power_w:.4g} W, U = "
    assert str(point).startswith(f"<CurvePoint cut 150 W, 500 ohm (1): {value}")
    assert point.model_copy(update={"power": None}).__repr__().endswith(": not measured>")
    failed = [result.verdict for result in run.results].count("fail")
    assert f"{failed} fail" in repr(run.results)
    assert len(repr(run.results)) < 100


def test_records_are_asked_for_what_there_can_be(bench_file: Path, records: str) -> None:
    with ohmwright.bench(bench_file) as bench:
        bench.measure(PLAN, records=records)
    known: Any = ohmwright.Records(records)
    assert len(known.runs(verdict="undecided")) == 1
    assert known.runs(verdict="unfinished") == known.runs(verdict="refused") == ()
    for ask in (known.runs, known.results):
        with pytest.raises(UsageError, match=r"unknown verdict 'failed'; the nearest .* 'fail'"):
            ask(verdict="failed")
        with pytest.raises(UsageError, match="since= takes a datetime, not '2026-01-01'"):
            ask(since="2026-01-01")
    with pytest.raises(UsageError, match="until= takes a datetime"):
        known.runs(until="2026-01-01")
    with pytest.raises(UsageError, match="unknown verdict 'unfinished'"):
        known.results(verdict="unfinished")
