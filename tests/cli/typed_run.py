"""The attended form with a real terminal for its person, until so many questions were answered.

Standard input and error are the terminal. On it each question ends with <ask N>, and each line
that is taken is told as <took N "LINE">; what got on record goes, as JSON, to a file.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

import anyio
from rich.text import Text

from ohmwright.api.bench_data import read_bench
from ohmwright.api.open_bench import assemble_bench, simulated_bench
from ohmwright.cli.console import err
from ohmwright.cli.terminal_operator import PlainDisplay, TerminalOperator
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.instruments.requests import Answer, Request
from ohmwright.model.bench_file import Simulation
from ohmwright.model.errors import OhmwrightError
from ohmwright.model.event import Asked
from ohmwright.model.shipped import shipped
from ohmwright.model.step import Stage
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.simulator.panel import Panel
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.links.memory import MemoryLink

MOST_RUNS = 400
STAGES: tuple[Stage, ...] = ("adjust", "as_found")


class NumberedScreen(PlainDisplay):
    """Ends each question, as shown, with its number."""

    number = 0

    @contextmanager
    def prompt(self, question: Sequence[Text]) -> Iterator[None]:
        self.number += 1
        with super().prompt([*question[:-1], Text(f"<ask {self.number}>")]):
            yield


SCREEN = NumberedScreen()


class TypingPerson(TerminalOperator):
    """Answers at the terminal; a simulated hand then does at the panel what was asked."""

    reading_time_s = 0.01

    def __init__(self, panel: Panel, clock: VirtualClock) -> None:
        super().__init__(SCREEN)
        self._hand = SimulatedOperator(panel, clock)

    async def reply(self, request: Request, problem: str) -> str:
        line = await super().reply(request, problem)
        err().print(f"<took {SCREEN.number} {json.dumps(line)}>", markup=False)
        return line

    async def carry_out(self, request: Request) -> Answer:
        answer = await super().carry_out(request)
        await self._hand.reply(request, "")
        return answer


async def one_run(seed: int) -> list[Asked]:
    """What was said in one run, which ends as it may."""
    data = read_bench(shipped("benches", "attended.toml"))
    simulation = Simulation(seed=seed, age_months=30)
    data = replace(data, file=data.file.model_copy(update={"simulation": simulation}))
    clock = VirtualClock()
    hardware = simulated_bench(data, clock)
    person = TypingPerson(hardware.panel, clock)
    analyzer = MemoryLink("analyzer", hardware.analyzer_port, clock)
    bench = assemble_bench(data, clock, analyzer, None, person)
    file = read_procedure(shipped("procedures", "attended-marlow.toml"))
    said = []
    with suppress(OhmwrightError):
        async for event in run(Job(file, (STAGES[seed % 2],), "typed"), bench):
            if isinstance(event, Asked):
                said.append(event)
    return said


def main(questions: int, log: Path) -> None:
    """Run until `questions` were answered."""
    said: list[Asked] = []
    for seed in range(MOST_RUNS):
        said += anyio.run(one_run, seed)
        if len(said) >= questions:
            break
    log.write_text(json.dumps([[e.question, e.answer, e.words] for e in said]), encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]))
