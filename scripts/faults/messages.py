"""Something befalls the Nth message or reply, for every N, in a whole run."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator, Sequence
from functools import cache, partial
from itertools import product
from random import Random
from typing import Any, get_args

from ohmwright.simulator.faults import KINDS, Line, LineFault, Way, When

from .forks import Forks
from .judge import Log, verdict
from .rig import VIRTUAL_BOUND_S, Case, Rig, made
from .row import Row
from .tally import Tally

_MESSAGES_AFTER = 8
"""A run with a passing fault goes on to the end of the first point that saw so many more messages
pass on that line: what a distortion holds back comes out within three, and what it left behind is
in the point's values, or in the trims, which are held against the truth."""
Met = tuple[str, Way, When]
"""What befalls a message or a reply."""
ALL: list[Met] = [
    (kind, way, when)
    for kind, way, when in product(KINDS, get_args(Way), get_args(When))
    if not (kind in ("stuck", "unplug") and when == "once")
]
_ALWAYS: list[Met] = [("digit", "message", "once"), ("lose", "message", "once")]


def rows(
    seed: int, reduced: bool, jobs: int = 1, every: int = 1, kind: str | None = None
) -> Iterator[Row]:
    """Every kind at every (or each `every`-th) message of the short procedure and of the demo.

    Two kinds drawn for each message of the others. With `kind`, that one alone.
    """
    kinds = tuple(KINDS) if kind is None else (kind,)
    short, demo = Case("short", seed), Case("demo", seed)
    if reduced:
        yield from _by_kind(short, jobs, 1213, kinds)
        if kind is None:
            yield _drawn(demo, jobs, stride=8009)
        return
    for each in kinds:  # a run for each, so that a row that is done is seen
        yield from _by_kind(short, jobs, every, (each,))
    for each in kinds:
        yield from _by_kind(demo, jobs, every, (each,))
    if kind is None:
        yield _drawn(Case("attended", seed), jobs, stride=every)
        yield _drawn(Case("sweep", seed), jobs, stride=every)


def _by_kind(case: Case, jobs: int, stride: int, kinds: Sequence[str]) -> Iterator[Row]:
    """One run that meets all of `kinds`, a row for each."""
    tallies = {kind: Tally(f"{kind}, {case.name} run", _replay(case)) for kind in kinds}

    def take(outcome: dict[str, Any]) -> None:
        tallies[LineFault.parse(outcome["fault"]).kind].take(outcome)

    met = [fault for fault in ALL if fault[0] in kinds]
    _try(case, jobs, stride, partial(_always, met), take)
    for tally in tallies.values():
        yield tally.row()


def _always(met: Sequence[Met], _: int) -> Sequence[Met]:
    """The same at every message."""
    return met


def _drawn(case: Case, jobs: int, stride: int) -> Row:
    """Two kinds drawn for each message."""
    tally = Tally(f"any two, {case.name} run {case.seed}", _replay(case))
    _try(case, jobs, stride, lambda n: Random(f"{case.seed} {n}").sample(ALL, 2), tally.take)
    return tally.row()


def _replay(case: Case) -> str:
    return f"python scripts/faults --replay messages/{case.name}/{case.seed}"


@cache
def sound(case: Case) -> Log:
    """The run without a fault."""
    rig, log = made(case), Log()
    asyncio.run(log.keep(rig, rig.work()))
    assert log.finished, log.error
    return log


def _try(
    case: Case,
    jobs: int,
    stride: int,
    kinds: Callable[[int], Sequence[Met]],
    take: Callable[[dict[str, Any]], None],
) -> None:
    expected, log = sound(case), Log()
    forks = Forks(jobs, take)
    count, told_count, armed = [0], [0], list[LineFault]()

    def on_message(line_name: Line, line: bytes) -> None:
        if forks.child is not None:
            return
        count[0] += 1
        told = b"?" not in line
        told_count[0] += told
        at = rig.lines[line_name].count + 1
        # which line a stride meets shifts from kind to kind, so that it does not always meet alike
        for kind, way, when in kinds(count[0]):
            place = ALL.index((kind, way, when))
            # of the few messages that set something a sample would meet too few: each meets one
            always = told and (kind, way, when) == _ALWAYS[told_count[0] % len(_ALWAYS)]
            if not always and ((count[0] + place) % stride or (told and way == "reply")):
                continue
            fault = LineFault(kind, way, when, at, line_name)
            if forks.fork(str(fault)):
                arm(rig, fault)
                armed.append(fault)
                return

    rig = made(case, on_message=on_message)

    async def work() -> None:
        await log.keep(rig, rig.work(), lambda: _seen_enough(rig, armed))
        if forks.child is not None:
            forks.report(verdict(rig, log, expected))

    asyncio.run(work())
    forks.finish()


def _seen_enough(rig: Rig, armed: list[LineFault]) -> bool:
    return any(
        fault.when == "once" and rig.lines[fault.line].count - fault.at >= _MESSAGES_AFTER
        for fault in armed
    )


def arm(rig: Rig, fault: LineFault) -> None:
    """Have `fault` happen from now on, and bound the run."""
    rig.lines[fault.line].arm(fault)
    rig.clock.bound_s = rig.clock.now_s() + VIRTUAL_BOUND_S


def replay(case: Case, spec: str) -> dict[str, object]:
    """One trial again, from the start and without a fork."""
    fault, log, expected = LineFault.parse(spec), Log(), sound(case)
    armed: list[LineFault] = []

    def on_message(name: Line, _line: bytes) -> None:
        if name == fault.line and not armed and rig.lines[name].count + 1 == fault.at:
            arm(rig, fault)
            armed.append(fault)

    rig = made(case, on_message=on_message)
    asyncio.run(log.keep(rig, rig.work(), lambda: _seen_enough(rig, armed)))
    return verdict(rig, log, expected)
