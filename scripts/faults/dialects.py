"""Message faults on invented dialects: checksummed, echoing, streaming, and one without any proof.

The instruments are those of `tests/emulators`, in virtual time. A fault strikes the Nth message or
reply of one verification, on the generator's line of one calibration; what was recorded is held
against what the meter showed and where the unit's trim stands. At the bench without a proof of its
line a person stands by, as that bench needs.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncGenerator, Callable, Iterator
from contextlib import aclosing
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.operator import Operator
from ohmwright.instruments.remote_analyzer import RemoteAnalyzer
from ohmwright.instruments.requests import Request
from ohmwright.model.errors import OhmwrightError, ReleaseNotConfirmed
from ohmwright.model.event import PointDone
from ohmwright.model.step import STAGES, Stage
from ohmwright.wire.line_proof import is_proved
from tests.emulators.conftest import BARE, FILES, VirtualTable, virtual_table

from .row import Row
from .tally import Tally

DIALECTS = ("tamsin-40", "brindle-7", "sedge-s1", "cotter-2")
GENERATORS = ("quern-60", "osier-90")
"""On whose lines faults strike, too, beside the first of the analyzers; the first one in CI."""
Pieces = list[tuple[float, bytes]]
"""What arrives instead of some bytes: how many seconds later, and which."""
_SLOW_S = 10 / 9600
_LONG_S, _LONGER_S = 0.4, 1.3
_ZERO_TRIM = {"quern-60": 0x80}
"""What a unit calls the trim that changes nothing."""
_DIGIT_MA = 0.051
_POWER_W = 0.8
"""A recorded power farther from the truth is wrong; noise and lag leave some tenths."""
_DENSE, _REDUCED = 7, 1181
"""Every so many messages meet each fault."""
_BOUND_S = 900.0
_PROOFS = 3
"""Activations before the first that measures, where nobody stands by: OFF, limit and guard."""


class Agreeing(Operator):
    """A person who gives the first answer to everything."""

    name = "agreeing person"

    async def reply(self, request: Request, problem: str) -> str:  # noqa: ARG002
        """The word of the first answer."""
        return request.answers[0].word


@dataclass
class Striking:
    """Does something to the `at`th piece that passes, counted from 1."""

    kind: str
    at: int
    count: int = 0
    _held: list[bytes] = field(default_factory=list)

    def __call__(self, data: bytes) -> Pieces:
        """What arrives of `data`."""
        self.count += 1
        if self._held and self.count > self.at:
            return [(0.0, data), (0.0, self._held.pop())]
        if self.count != self.at:
            return [(0.0, data)]
        match self.kind:
            case "lost":
                return []
            case "twice":
                return [(0.0, data), (0.0, data)]
            case "late":
                return [(_LONG_S, data)]
            case "very late":
                return [(_LONGER_S, data)]
            case "swapped":
                self._held.append(data)
                return []
            case _:
                return [(0.0, _changed(data, self.at))]


def _changed(data: bytes, at: int) -> bytes:
    """`data` with one bit changed, of a digit where there is one."""
    digits = [n for n, byte in enumerate(data) if 48 <= byte < 58] or list(range(len(data)))
    place = digits[at % len(digits)]
    return data[:place] + bytes([data[place] ^ (1 << (at // 7) % 3)]) + data[place + 1 :]


FAULTS = (
    *(("reply", kind) for kind in ("lost", "twice", "late", "very late", "swapped", "changed")),
    *(("message", kind) for kind in ("lost", "twice", "changed")),
)


class LosesOff:
    """Loses the first two messages that are to end an activation that measures."""

    def __init__(self, table: VirtualTable, off: bytes) -> None:
        self._table, self._off, self._left = table, off, 2

    def __call__(self, data: bytes) -> Pieces:
        """What arrives of `data`."""
        plant = self._table.plant
        attended = self._table.bench.operator.present
        measures = len(plant.log) >= (0 if attended else _PROOFS)
        if self._left and measures and plant.is_on and self._off in data:
            self._left -= 1
            return []
        return [(0.0, data)]


def rows(reduced: bool, every: int = 0) -> Iterator[Row]:
    """A row for each dialect: every fault at each so manieth message; `every` 0: at some."""
    for name in (*DIALECTS, *GENERATORS[: 1 if reduced else None]):
        tally = Tally(f"messages to a {name}", "python scripts/faults --only dialects")
        passed, proved = 0, True
        for outcome in _outcomes(name, every or (_REDUCED if reduced else _DENSE)):
            proved = outcome.pop("proved")
            if not proved and outcome["wrong"]:
                passed, outcome["wrong"], outcome["undetected"] = passed + 1, False, False
            tally.take(outcome)
        if not proved:
            share = f"{passed} of {tally.tried} wrong values passed"
            tally.note = f"{share}: nothing proves this line, and its records say so"
        yield tally.row()


def _outcomes(name: str, stride: int) -> Iterator[dict[str, Any]]:
    count = _Trial(name, "reply", Striking("none", 0))
    sound = count.run()
    if sound["how"] or not count.spoil.count:  # else every fault would be held against nothing
        raise RuntimeError(f"{name} cannot be worked without a fault: {sound['how']}")
    for number, (way, kind) in enumerate(FAULTS):
        for at in range(1 + 5 * number % stride, count.spoil.count + 1, stride):
            trial = _Trial(name, way, Striking(kind, at))
            yield {**trial.run(), "fault": f"{name}/{way}/{kind}/{at}"}
    if name in DIALECTS:
        trial = _Trial(name, "message", None)
        yield {**trial.run(), "fault": f"{name}/OFF lost twice"}


class _Trial:
    """One job with one fault."""

    def __init__(self, name: str, way: str, spoil: Striking | None) -> None:
        at_generator = name in GENERATORS
        self._unit = name if at_generator else "osier-90"
        with TemporaryDirectory() as folder:
            speed_s = _SLOW_S if name == "brindle-7" else 0.0
            analyzer = DIALECTS[0] if at_generator else name
            person = Agreeing() if name in BARE else AbsentOperator()
            self.table = table = virtual_table(analyzer, Path(folder), speed_s, person, self._unit)
        self._stages: tuple[Stage, ...] = STAGES if at_generator else ("as_found",)
        self._said_ma = set[float]()
        shown = table.plant.shown_ma

        def noting() -> float:
            value = shown()
            self._said_ma.add(round(value, 1))
            return value

        table.plant.shown_ma = noting  # type: ignore[method-assign]
        assert isinstance(table.bench.analyzer, RemoteAnalyzer)  # it is worked by data
        commands = table.bench.analyzer.dialogue.commands
        self.proved = is_proved(commands)
        self.spoil = spoil or Striking("none", 0)
        line = table.generator_line if at_generator else table.analyzer_line
        strikes: Callable[[bytes], Pieces] = spoil or LosesOff(table, commands.message("off", {}))
        if way == "reply":
            line.spoil_reply = strikes
        else:
            line.spoil_message = strikes

    def run(self) -> dict[str, Any]:
        """Whether the rules held."""
        error, wrong = asyncio.run(self._recorded())
        plant = self.table.plant
        left_on = plant.is_on and not isinstance(error, ReleaseNotConfirmed)
        crashed = not isinstance(error, OhmwrightError | None)
        return {
            "left_on": left_on,
            "wrong": bool(wrong),
            "undetected": crashed or (error is None and bool(wrong)),
            "hang": self.table.bench.clock.now_s() > _BOUND_S,
            "how": "; ".join([*wrong, "" if error is None else str(error)])[:400],
            "error": "" if error is None else type(error).__name__,
            "proved": self.proved,
        }

    async def _recorded(self) -> tuple[Exception | None, list[str]]:
        job = Job(read_procedure(FILES / f"{self._unit}-check.toml"), self._stages, "faults")
        wrong = list[str]()
        events: AsyncGenerator[Any, None] = run(job, self.table.bench)
        try:
            async with aclosing(events):
                async for event in events:
                    if isinstance(event, PointDone):
                        wrong += self._wrong(event)
        except Exception as error:
            return error, wrong
        return None, wrong

    def _wrong(self, event: PointDone) -> Iterator[str]:
        result, plant = event.result, self.table.plant
        for sample in result.samples:
            if not any(abs(sample.current_ma - said) < _DIGIT_MA for said in self._said_ma):
                yield f"no such reading was shown: {sample}"
        trim = plant.trim + _ZERO_TRIM.get(self._unit, 0)
        if result.final_trim is not None and result.final_trim != trim:
            yield f"trim {result.final_trim}, truly {trim}"
        if result.measured is not None and result.verdict != "undecided":
            value_w, true_w = result.measured.value, (plant.settled_ma / 1000) ** 2 * plant.load_ohm
            if result.measured.quantity == "current_ma":
                value_w = (value_w / 1000) ** 2 * plant.load_ohm
            if abs(value_w - true_w) > _POWER_W:
                yield f"{value_w:g} W, truly {true_w:g} W"
