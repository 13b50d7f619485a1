"""Something befalls the Nth message or reply, for every N, in a whole run."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator, Sequence
from itertools import product
from random import Random

from forks import Forks
from judge import Log, verdict
from rig import VIRTUAL_BOUND_S, Case, Rig, made
from row import Row
from tally import Tally

from ohmwright.simulator.faults import KINDS, Fault

_POINTS_AFTER = 2
"""Points that a run goes on for after a passing fault on the analyzer's line: enough to see what
it left behind. On the generator's, where a trim or a store may come out late, to its end."""
ALL = [
    (kind, way, when)
    for kind, way, when in product(KINDS, ("message", "reply"), ("once", "ever"))
    if not (kind == "unplug" and when == "once") and not (kind in ("stuck",) and when == "once")
]
_ALWAYS = [("digit", "message", "once"), ("lose", "message", "once")]


def rows(
    seed: int, reduced: bool, jobs: int = 1, every: int = 1, kind: str | None = None
) -> Iterator[Row]:
    """Every kind at every (or each `every`-th) message of the short procedure; also the demo's.

    With `kind`, that one in the short procedure alone.
    """
    short = Case("short", seed)
    yield from _by_kind(short, jobs, 199 if reduced else every, KINDS if kind is None else (kind,))
    if kind is not None:
        return
    if reduced:
        yield _drawn(Case("demo", seed), jobs, stride=211)
        return
    for run in range(4):
        yield _drawn(Case("demo", seed + run), jobs, stride=every)
    yield _drawn(Case("attended", seed), jobs, stride=every)
    yield _drawn(Case("sweep", seed), jobs, stride=every)


def _by_kind(case: Case, jobs: int, stride: int, kinds: Sequence[str]) -> Iterator[Row]:
    tallies = {kind: Tally(f"{kind}, {case.name} run", _replay(case)) for kind in kinds}
    met = [fault for fault in ALL if fault[0] in kinds]
    _try(
        case,
        jobs,
        stride,
        lambda _: met,
        lambda fault: tallies[fault.partition(":")[2].partition(":")[0]],
    )
    for tally in tallies.values():
        yield tally.row()


def _drawn(case: Case, jobs: int, stride: int) -> Row:
    """Two kinds drawn for each message."""
    tally = Tally(f"any two, {case.name} run {case.seed}", _replay(case))
    _try(case, jobs, stride, lambda n: Random(f"{case.seed} {n}").sample(ALL, 2), lambda _: tally)
    return tally.row()


def _replay(case: Case) -> str:
    return f"python scripts/faults --replay messages/{case.name}/{case.seed}"


def sound(case: Case) -> Log:
    """The run without a fault."""
    rig, log = made(case), Log()
    asyncio.run(log.keep(rig, rig.work(), None))
    assert log.finished, log.error
    return log


def _try(case: Case, jobs: int, stride: int, kinds, tally_of) -> None:
    expected, log = sound(case), Log()
    forks = Forks(jobs, lambda outcome: tally_of(outcome["fault"]).take(outcome))
    count, armed = [0], []

    def on_message(line_name: str, line: bytes) -> None:
        if forks.child is not None:
            return
        count[0] += 1
        at = rig.lines[line_name].count + 1
        # which line a stride meets shifts from kind to kind, so that it does not always meet alike
        for place, (kind, way, when) in enumerate(kinds(count[0])):
            told = b"?" not in line
            # of the few messages that set something a sample would meet too few
            always = told and (kind, way, when) in _ALWAYS
            if not always and ((count[0] + place) % stride or (told and way == "reply")):
                continue
            fault = Fault(kind, way, when, at, line_name)
            if forks.fork(str(fault)):
                arm(rig, fault)
                armed.append(points_after(fault, log.points))
                return

    rig = made(case, on_message=on_message)

    async def work() -> None:
        await _keep(log, rig, armed)

    asyncio.run(work())
    if forks.child is not None:
        forks.report(verdict(rig, log, expected, to_the_end=armed[0] is None))
    forks.finish()


async def _keep(log: Log, rig: Rig, armed: list[int | None]) -> None:
    """Keep events; how far is known only once a fault was armed."""
    try:
        work = rig.work()
        async for event in work:
            log._take(rig, event)
            if armed and armed[0] is not None and log.points >= armed[0]:
                await work.aclose()
                return
        log.finished = True
    except BaseException as error:
        log.error = error


def points_after(fault: Fault, points: int) -> int | None:
    """At how many points a run is seen enough of; None for its end."""
    passing = fault.line == "analyzer" and fault.when == "once"
    return points + _POINTS_AFTER if passing else None


def arm(rig: Rig, fault: Fault) -> None:
    """Have `fault` happen from now on, and bound the run."""
    rig.lines[fault.line].arm(fault)
    rig.clock.bound_s = rig.clock.now_s() + VIRTUAL_BOUND_S


def replay(case: Case, spec: str) -> dict[str, object]:
    """One trial again, from the start and without a fork."""
    fault, log, expected = Fault.parsed(spec), Log(), sound(case)
    armed: list[int | None] = []

    def on_message(name: str, _line: bytes) -> None:
        if name == fault.line and not armed and rig.lines[name].count + 1 == fault.at:
            arm(rig, fault)
            armed.append(points_after(fault, log.points))

    rig = made(case, on_message=on_message)
    asyncio.run(_keep(log, rig, armed))
    return verdict(rig, log, expected, to_the_end=bool(armed) and armed[0] is None)
