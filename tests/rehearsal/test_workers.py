"""The outcome of a unit does not depend on who runs it, nor on who was killed meanwhile."""

import importlib.util
import multiprocessing
import os
import signal
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from ohmwright.model.errors import ProcedureError, UsageError
from ohmwright.rehearsal.outcome import UnitOutcome
from ohmwright.rehearsal.population import unit_seed
from ohmwright.rehearsal.rehearse import Rehearsal, Sharing, rehearse_units
from ohmwright.rehearsal.unit_run import Rehearsed
from ohmwright.rehearsal.workers import on_cores

UNITS = 6


def alone(rehearsed: Rehearsed, units: int = UNITS) -> Rehearsal:
    (done,) = rehearse_units((rehearsed,), units, Sharing(workers=1))
    return done


def test_two_workers_of_which_one_is_killed_find_what_one_finds(make: Callable[..., Rehearsed]):
    killed = []

    def kill_one(_: UnitOutcome) -> None:
        if not killed:
            child = multiprocessing.active_children()[0]
            child.kill()
            killed.append(child)

    (done,) = rehearse_units((make(),), UNITS, Sharing(workers=2), kill_one)
    assert killed
    assert done.outcomes == alone(make()).outcomes
    assert len({outcome.on_s for outcome in done.outcomes}) > 1  # units that differ


def test_units_are_drawn_from_the_seed_alone(make: Callable[..., Rehearsed]):
    seeds = [unit_seed(1, unit) for unit in range(100)]
    assert len(set(seeds)) == 100
    assert set(seeds).isdisjoint(unit_seed(2, unit) for unit in range(100))
    few, other = alone(make(), 2), alone(make(seed=2), 2)
    assert few.outcomes == alone(make(), 3).outcomes[:2]
    assert few.outcomes != other.outcomes


def test_ctrl_c_leaves_the_units_that_every_procedure_has_run(make: Callable[..., Rehearsed]):
    seen: list[UnitOutcome] = []

    def interrupt(outcome: UnitOutcome) -> None:
        seen.append(outcome)
        if len(seen) == 3:
            raise KeyboardInterrupt

    first, second = rehearse_units((make(), make(percent=3)), UNITS, Sharing(workers=1), interrupt)
    assert [len(first.outcomes), len(second.outcomes)] == [1, 1]
    assert first.wanted == UNITS


def test_what_the_bench_cannot_do_is_told_before_the_first_unit(make: Callable[..., Rehearsed]):
    rehearsed = make(more=MORE_THAN_IT_HAS)
    with pytest.raises(ProcedureError, match="cut-too-much"):
        rehearse_units((rehearsed,), UNITS)


MORE_THAN_IT_HAS = """
[[step]]
kind = "output"
name = "cut-too-much"
mode = "cut"
setting_w = 900
load_ohm = 500
power_w = 900
tolerance = { percent = 5 }
"""


def test_a_unit_that_loses_its_bench_is_cut_short_and_counted(make: Callable[..., Rehearsed]):
    rehearsed = make()
    tripping = rehearsed.bench.analyzer.physics.load_bank.model_copy(update={"trip_power": 0.1})
    analyzer = rehearsed.bench.analyzer
    physics = analyzer.physics.model_copy(update={"load_bank": tripping})
    analyzer = analyzer.model_copy(update={"physics": physics})
    outcome = replace(rehearsed, bench=replace(rehearsed.bench, analyzer=analyzer)).run_unit(0)
    assert outcome.verdict == "cut short"
    assert outcome.problem


@pytest.mark.skipif(importlib.util.find_spec("distributed") is None, reason="extra 'cluster'")
@pytest.mark.filterwarnings("ignore")
def test_two_workers_of_a_cluster_find_what_one_process_finds(make: Callable[..., Rehearsed]):
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
    ) as cluster:
        sharing = Sharing(cluster=cluster.scheduler_address)
        (done,) = rehearse_units((make(),), UNITS, sharing)
    assert done.outcomes == alone(make()).outcomes


@pytest.mark.filterwarnings("ignore")
def test_a_cluster_that_does_not_answer_is_named(
    make: Callable[..., Rehearsed], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr("ohmwright.rehearsal.cluster._CONNECT_S", 0.2)
    with pytest.raises(UsageError, match=r"127\.0\.0\.1:9"):
        rehearse_units((make(),), 1, Sharing(cluster="tcp://127.0.0.1:9"))


def test_after_ctrl_c_no_worker_is_left_at_work(make: Callable[..., Rehearsed]):
    def interrupt(_: UnitOutcome) -> None:
        raise KeyboardInterrupt

    rehearse_units((make(),), 1000, Sharing(workers=2), interrupt)
    end_s = time.monotonic() + 20
    while lives := [child.pid for child in multiprocessing.active_children() if _lives(child.pid)]:
        assert time.monotonic() < end_s, lives
        time.sleep(0.05)


class _HoldsBack:
    """In place of a rehearsal: whether Ctrl-C waits in the process that runs a unit."""

    def run_unit(self, _: int) -> bool:
        return _waits()


def _waits() -> bool:
    return signal.SIGINT in signal.pthread_sigmask(signal.SIG_BLOCK, ())


def test_a_worker_does_not_hear_ctrl_c_while_it_begins() -> None:
    """Else a Ctrl-C in the first seconds printed the traceback of each worker's imports."""
    rehearsed: Any = (_HoldsBack(),)
    assert list(on_cores(rehearsed, [(0, 0)], 1)) == [(0, True)]
    assert not _waits()


def _lives(pid: int | None) -> bool:
    """Whether there is such a process; the pool may have taken note of its end before we ask."""
    try:
        os.kill(pid or 0, 0)
    except ProcessLookupError:
        return False
    return True
