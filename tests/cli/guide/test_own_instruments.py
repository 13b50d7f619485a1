"""The guide's invented analyzer and generator work, spoken to in the words of their command sets.

Simulated hardware answers SCPI; an interpreter that knows both command sets stands before it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from ohmwright.api.bench_data import BenchData, read_bench
from ohmwright.api.open_bench import assemble_bench
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.operator import Operator
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.model.step import STAGES
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.command_set import CommandSet, load_command_set
from ohmwright.wire.links.memory import MemoryLink

WHOLE = {"nonce", "counts"}
TEXT = {"path", "mode", "point"}


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@dataclass(frozen=True)
class Interpreter:
    """Says in `ours` what comes in the words of `theirs`, and answers in theirs."""

    port: Callable[[bytes], bytes]
    theirs: CommandSet
    ours: CommandSet
    heard: set[str]
    """Every message that was understood, by its name."""

    def __call__(self, line: bytes) -> bytes:
        text = line.decode().strip()
        if text == "":  # ends what may have been left unfinished before OFF
            return b""
        verb, fields = next(self._meanings(text))
        self.heard.add(verb)
        reply = self.port(self.ours.message(verb, fields)).decode().strip()
        if reply == "" or verb not in self.theirs.ask:
            return b""
        said = self._reading(reply) if verb.startswith("fetch_") else reply
        said = re.sub(r"A\d{6}", "A1B2C3", said)
        return (said + self.theirs.reply_terminator).encode()

    def _meanings(self, text: str) -> Iterator[tuple[str, dict[str, object]]]:
        for verb, message in (*self.theirs.ask.items(), *self.theirs.tell.items()):
            pattern = re.sub(r"\\\{(\w+).*?\\\}", r"(?P<\1>.+)", re.escape(message.send))
            found = re.fullmatch(pattern, text)
            if found is not None:
                yield verb, {name: _value(name, said) for name, said in found.groupdict().items()}

    def _reading(self, reply: str) -> str:
        value, _, number = reply.split(",")
        factor = 1000 if self.theirs.current_unit == "mA" else 1
        fields = {
            "value": f"{float(value) * factor:g}",
            "unit": self.theirs.current_unit,
            "number": number,
        }
        return ",".join(fields[name] for name in self.theirs.reading)


def _value(name: str, said: str) -> object:
    return said if name in TEXT else int(said) if name in WHOLE else float(said)


async def _verdicts(procedure: str, data: BenchData, person: bool) -> tuple[dict, set[str]]:
    clock, heard = VirtualClock(), set[str]()
    generator = "quillon-300" if data.generator_commands is not None else "marlow-150"
    hardware = SimulatedBench(
        AnalyzerProfile(data=data.analyzer),
        load(shipped("generators", f"{generator}.toml"), GeneratorProfile),
        seed=5,
        clock=clock,
        age_months=30,
    )

    def link(who: str, port: Callable[[bytes], bytes], theirs: CommandSet) -> MemoryLink:
        ours = load_command_set(f"scpi-1999-{who}", Path())
        return MemoryLink(who, Interpreter(port, theirs, ours, heard), clock)

    commands = data.generator_commands
    analyzer = link("analyzer", hardware.analyzer_port, data.analyzer_commands)
    remote = None if commands is None else link("generator", hardware.generator_port, commands)
    operator: Operator = SimulatedOperator(hardware.panel, clock) if person else AbsentOperator()
    bench = assemble_bench(data, clock, analyzer, remote, operator)
    job = Job(read_procedure(Path(procedure)), STAGES, "own")
    events = [event async for event in run(job, bench)]
    return {(r.stage, r.step, r.point): r.verdict for r in results(events)}, heard


@pytest.mark.anyio
async def test_a_job_is_done_with_the_analyzer_of_the_guide(guide_files: Path) -> None:
    data = read_bench(Path("workshop.toml"))
    verdicts, heard = await _verdicts("marlow.toml", data, person=True)
    assert verdicts["as_left", "cut-rated", "300 ohm"] == "pass"
    assert verdicts["adjust", "adjust-p1", "P1"] == "pass"
    never = {"fetch_leakage"}  # the procedure has no leakage step
    assert heard == data.analyzer_commands.verbs - never


@pytest.mark.anyio
async def test_a_job_is_done_with_the_generator_commands_of_the_guide(guide_files: Path) -> None:
    commands = load(Path("my-generator-commands.toml"), CommandSet)
    data = replace(read_bench(Path("bench.toml")), generator_commands=commands)
    verdicts, heard = await _verdicts("cut.toml", data, person=False)
    assert {v for (stage, _, _), v in verdicts.items() if stage != "as_found"} == {"pass"}
    assert heard >= commands.verbs
