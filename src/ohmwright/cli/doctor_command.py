"""`doctor`: open every instrument and check it, with RF off unless a second of it is wanted."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import asdict, dataclass

import anyio
from rich.table import Table

from ohmwright.engine.activation import begin_off
from ohmwright.engine.proving import protection_proofs
from ohmwright.engine.session import Session
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.conformance import WITHOUT_RF, Check, Kit
from ohmwright.instruments.operator import Interjection
from ohmwright.model.errors import LinkError, OutOfCapability
from ohmwright.model.event import ProtectionProved

from .bench_data import BenchChoice
from .console import out, print_json
from .open_bench import opened

LINK = 3


@dataclass(frozen=True)
class Finding:
    """One check and what it found."""

    check: str
    good: bool
    detail: str = ""


def run_doctor(choice: BenchChoice, *, with_rf: bool, as_json: bool) -> int:
    """Print every finding; 0 when all is well, 3 when not.

    RF stays off, but for a second where it is wanted to prove the analyzer's own limit.
    """
    data = choice.read()

    async def work() -> list[Finding]:
        async with opened(data, unattended=not with_rf, guarded=choice.guarded) as bench:
            found = [finding async for finding in _findings(bench)]
            return [*found, await _limit(bench)] if with_rf else found

    findings = anyio.run(work)
    _print(findings, as_json=as_json)
    return 0 if all(finding.good for finding in findings) else LINK


async def _findings(bench: Bench) -> AsyncIterator[Finding]:
    await begin_off(bench)
    yield Finding("output reads off", good=True)
    yield Finding("analyzer", good=True, detail=await bench.analyzer.identify())
    yield Finding("generator", good=True, detail=await bench.generator.identify())
    yield _certificate(bench)
    kit = Kit(
        bench.analyzer,
        bench.clock,
        _no_activation,
        bench.analyzer.data.load_bank.loads_ohm[0],
    )
    for check in WITHOUT_RF:
        yield await _finding(check, kit)
    yield await _watchdog(bench)
    contact = bench.analyzer.data.activation
    yield Finding(
        "ends an activation by itself",
        good=contact.bounded,
        detail="" if contact.bounded else "host-guarded only: no unattended runs on this bench",
    )


def _certificate(bench: Bench) -> Finding:
    name = "analyzer's certificate"
    if bench.certificate is None:
        return Finding(name, good=True, detail="none: uncertainties will be of the readings alone")
    known = bench.certificate.traceability(bench.clock.wall().date())
    state = "expired" if known.expired else "due"
    detail = f"{known.certificate}, {state} {known.due_on}"
    return Finding(name, good=not known.expired, detail=detail)


async def _watchdog(bench: Bench) -> Finding:
    """A guard that hears nothing sends OFF and reads it back, all with the output off."""
    name = "the guard trips"
    try:
        proved = await bench.analyzer.prove_watchdog()
    except LinkError as error:
        return Finding(name, good=False, detail=str(error))
    detail = "no guard: the bench is simulated" if proved is None else ""
    return Finding(name, good=True, detail=detail)


async def _limit(bench: Bench) -> Finding:
    """RF on for some seconds at a low setting: OFF must end it, and so must the limit."""
    name = "OFF and the limit end an activation"
    try:
        closed = [event async for event in protection_proofs(Session(bench)) if event]
    except (LinkError, OutOfCapability) as error:
        return Finding(name, good=False, detail=str(error))
    except Interjection:
        return Finding(name, good=False, detail=f"{bench.operator.name} did not want it: not seen")
    seen = [event.what for event in closed if isinstance(event, ProtectionProved)]
    return Finding(name, good=True, detail="; ".join(seen))


async def _finding(check: Check, kit: Kit) -> Finding:
    name = check.__name__.replace("_", " ")
    try:
        problem = await check(kit)
    except LinkError as error:
        problem = str(error)
    return Finding(name, good=problem is None, detail=problem or "")


@asynccontextmanager
async def _no_activation(_load_ohm: float, _limit_s: float) -> AsyncIterator[None]:
    raise AssertionError("doctor switches nothing on")
    yield


def _print(findings: list[Finding], *, as_json: bool) -> None:
    if as_json:
        print_json([asdict(finding) for finding in findings])
        return
    table = Table("Check", "", "Detail")
    for finding in findings:
        state = "[green]good[/green]" if finding.good else "[bold red]NOT GOOD[/bold red]"
        table.add_row(finding.check, state, finding.detail)
    out().print(table)
