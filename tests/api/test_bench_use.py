"""An open bench works for one job at a time."""

import asyncio
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import ohmwright
from ohmwright.api.bench_use import BenchUse
from ohmwright.model.errors import UsageError
from ohmwright.model.event import ActivationOpened, Event, Fault

PLAN = ohmwright.Sweep(modes={"cut": (150,)}, loads_ohm=(200, 500), rest_s=0)


def test_a_job_that_failed_has_the_bench_no_longer() -> None:
    """Would notice a bench that refuses all work after one error, or works for two, or closed."""
    use = BenchUse()
    with pytest.raises(UsageError, match="is closed"), use.one_job():
        pytest.fail("the block was entered")
    use.is_open = True
    with pytest.raises(ZeroDivisionError):
        _fail_within(use)
    use.refuse_unready()


def _fail_within(use: BenchUse) -> None:
    with use.one_job():
        with pytest.raises(UsageError, match="works for another sweep or run"), use.one_job():
            pytest.fail("the block was entered")
        with pytest.raises(UsageError, match="works for another sweep or run"):
            use.refuse_unready()
        _ = 1 / 0


def _told(opened: Callable[[], None]) -> Callable[[Event], None]:
    return lambda event: opened() if isinstance(event, ActivationOpened) else None


def _refuse_lost_end(records: str) -> None:
    """Fail unless the run's last event says that it was stopped, with RF off."""
    last = ohmwright.Records(records)["last"].events[-1]
    assert isinstance(last, Fault)
    assert (last.error, last.rf_state) == ("Stopped", "off")


@pytest.mark.anyio
async def test_a_block_that_is_left_stops_the_job_of_another_task(
    bench_file: Path, records: str
) -> None:
    """Its lines were closed beneath the job: RF stayed on, and nothing could be read back."""
    opened = asyncio.Event()
    async with ohmwright.open_bench(bench_file) as bench:
        measuring = bench.measure(PLAN, records=records, on_event=_told(opened.set))
        job = asyncio.create_task(measuring)
        await opened.wait()
    with pytest.raises(UsageError, match="ended while it measured"):
        await job
    _refuse_lost_end(records)
    async with ohmwright.open_bench(bench_file) as bench:
        assert len(await bench.resume("last", records=records)) == 2


def test_a_block_that_is_left_stops_the_job_of_another_thread(
    bench_file: Path, records: str
) -> None:
    opened, told = threading.Event(), list[str]()
    procedure = bench_file.parents[1] / "procedures" / "demo-monopolar.toml"

    def measure(bench: Any) -> None:
        try:
            bench.run(procedure, records=records, on_event=_told(opened.set))
        except UsageError as stopped:
            told.append(str(stopped))

    with ohmwright.bench(bench_file) as bench:
        thread = threading.Thread(target=measure, args=(bench,))
        thread.start()
        assert opened.wait(30)
    thread.join(30)
    assert "ended while it measured" in told[0]
    _refuse_lost_end(records)


ENDS = """
import sys, threading, time
import ohmwright
from ohmwright.model.event import ActivationOpened

plan = ohmwright.Sweep(modes={"cut": (150,)}, loads_ohm=(200, 500), rest_s=0)
opened = threading.Event()

def slowly(event):
    if isinstance(event, ActivationOpened):
        opened.set()
        time.sleep(1)

def measure():
    with ohmwright.bench(sys.argv[1]) as bench:
        bench.measure(plan, records=sys.argv[2], on_event=slowly)

threading.Thread(target=measure, daemon=True).start()
assert opened.wait(30)
"""


def test_a_program_that_ends_beside_its_job_stops_it_first(bench_file: Path, records: str) -> None:
    """A thread that nobody waits for ends with the program: it ended in the middle, RF on."""
    subprocess.run([sys.executable, "-c", ENDS, str(bench_file), records], check=True, timeout=60)
    _refuse_lost_end(records)
