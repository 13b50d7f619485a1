"""Two things at once: a line lost while OFF is on its way, a stop in mid-resynchronisation."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Iterator
from typing import Any

import anyio

from ohmwright.cli.signals import cancel_on_signal
from ohmwright.instruments.operator import Operator
from ohmwright.instruments.requests import Request
from ohmwright.simulator.faults import Line, LineFault

from .cancel import KINDS, Injection
from .judge import Log, verdict
from .messages import arm, sound
from .rig import Case, Rig, made
from .row import Row
from .tally import Tally

_OFF = b"OUTPut:STATe OFF"


def rows(seed: int, reduced: bool) -> Iterator[Row]:
    """Each pair, at every place where it can meet."""
    case = Case("sweep", seed)
    yield _lost_at_off(case, reduced)
    yield _stopped_while_resynchronising(case, reduced)
    yield _cancelled_in_a_failing_release(case, reduced)
    yield _nobody_answers(reduced)


def _lost_at_off(case: Case, reduced: bool) -> Row:
    """RF goes on to the instrument's limit, and the person is told so."""
    tally = Tally("line lost at each OFF", "python scripts/faults --only compound  #")
    expected, offs = sound(case), _messages(case, _OFF)
    for at in offs[:: 11 if reduced else 1]:
        for way in ("message", "reply"):
            rig, log = made(case), Log()
            arm(rig, LineFault("unplug", way, "ever", at))
            asyncio.run(log.keep(rig, rig.work()))
            outcome = verdict(rig, log, expected)
            unannounced = outcome["error"] not in ("ReleaseNotConfirmed", "LinkLost")
            outcome["undetected"] |= unannounced
            tally.take({"fault": f"unplug:{way}:{at}", **outcome})
    return tally.row()


def _stopped_while_resynchronising(case: Case, reduced: bool) -> Row:
    """A reply is lost, and the run is cancelled at every pause of finding the step again."""
    tally = Tally("stop while resynchronising", "python scripts/faults --only compound  #")
    expected = sound(case)
    for at in _messages(case, b"FETCh")[3 :: 401 if reduced else 101]:
        for pause in range(1, 40, 9 if reduced else 1):
            for kind in ("scope", "task"):
                fault = LineFault("lose", "reply", "once", at)
                outcome = _cancelled(case, expected, fault, kind, pause)
                tally.take({"fault": f"{fault}+{kind}:{pause}", **outcome})
    return tally.row()


def _cancelled_in_a_failing_release(case: Case, reduced: bool) -> Row:
    """OFF is lost, and the release that repeats it is cancelled at each of its pauses."""
    tally = Tally("stop while OFF is lost", "python scripts/faults --only compound  #")
    expected = sound(case)
    for at in _messages(case, _OFF)[:: 29 if reduced else 1]:
        for pause in range(1, 24, 4 if reduced else 1):
            for kind in KINDS:
                fault = LineFault("lose", "message", "once", at)
                outcome = _cancelled(case, expected, fault, kind, pause)
                tally.take({"fault": f"{fault}+{kind}:{pause}", **outcome})
    return tally.row()


def _cancelled(
    case: Case, expected: Log, fault: LineFault, kind: str, after: int
) -> dict[str, Any]:
    """A run that meets `fault` and is cancelled so many pauses `after`."""
    log, left = Log(), [after]
    at_work: list[tuple[asyncio.Task[Any], anyio.CancelScope]] = []
    injected: list[Injection] = []

    def on_pause() -> None:
        if injected:
            injected[0].later()
        elif rig.lines["analyzer"].count >= fault.at:
            left[0] -= 1
            if left[0] == 0:
                injected.append(Injection(kind, after))
                injected[0].first(*at_work[0])

    rig = made(case, pausing=True, on_pause=on_pause)
    arm(rig, fault)

    async def work() -> None:
        task = asyncio.current_task()
        assert task is not None
        with anyio.CancelScope() as scope:
            at_work.append((task, scope))
            await log.keep(rig, rig.work())

    try:
        asyncio.run(work())
    except asyncio.CancelledError as cancelled:
        log.error = cancelled
    outcome = verdict(rig, log, expected)
    stopped = at_work[0][1].cancelled_caught or isinstance(log.error, asyncio.CancelledError)
    return {**outcome, "error": "stopped" if stopped else outcome["error"]}


class Absent(Operator):
    """A person who never answers."""

    name = "absent"

    async def reply(self, request: Request, problem: str) -> str:  # noqa: ARG002
        """Wait for ever."""
        await asyncio.get_running_loop().create_future()
        return ""


def _nobody_answers(reduced: bool) -> Row:
    """A signal ends the wait, with RF off."""
    tally = Tally("an answer that never comes", "python scripts/faults --only compound  #")
    numbers = [signal.SIGINT, signal.SIGTERM, signal.SIGHUP]
    for number in numbers[: 1 if reduced else 3]:
        rig, log = made(Case("attended", 5)), Log()
        object.__setattr__(rig.bench, "operator", Absent())

        stopped = asyncio.run(_stopped(rig, log, number))
        outcome = verdict(rig, log, Log())
        tally.take(
            {
                "fault": number.name,
                **outcome,
                "undetected": not stopped,
                "wrong": False,
                "error": "stopped" if stopped else "",
            }
        )
    return tally.row()


async def _stopped(rig: Rig, log: Log, number: signal.Signals) -> bool:
    with cancel_on_signal() as stop:
        asyncio.get_running_loop().call_later(0.05, signal.raise_signal, number)
        await log.keep(rig, rig.work())
    return bool(stop.cancelled_caught)


def _messages(case: Case, begins: bytes) -> list[int]:
    """The numbers of the analyzer's messages that begin so."""
    found: list[int] = []

    def on_message(name: Line, line: bytes) -> None:
        if name == "analyzer" and line.startswith(begins):
            found.append(rig.lines[name].count + 1)

    rig = made(case, on_message=on_message)
    asyncio.run(Log().keep(rig, rig.work()))
    return found
