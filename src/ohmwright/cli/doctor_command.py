"""The command `doctor`: open and check every instrument; RF stays off unless asked for."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable, Iterator
from dataclasses import asdict
from typing import NoReturn

import anyio
from rich.table import Table

from ohmwright.api.bench_data import BenchChoice
from ohmwright.api.open_bench import open_bench
from ohmwright.engine.decidability import needed_after_age_s
from ohmwright.engine.protection_self_test import protection_self_test
from ohmwright.engine.release import ensure_off_at_start
from ohmwright.engine.room import narrowest_tolerance_ma, rounded_up
from ohmwright.engine.session import Session
from ohmwright.engine.traceability import refuse_foreign
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.conformance import WITHOUT_RF, ConformanceCheck, Kit, sets_every_load
from ohmwright.instruments.operator import Interjection
from ohmwright.instruments.required_messages import (
    analyzer_contradictions,
    generator_contradictions,
)
from ohmwright.model.errors import LinkError, OutOfCapability, UsageError
from ohmwright.model.event import ProtectionProved
from ohmwright.model.hardware import MeterData

from .console import out, print_json
from .doctor_finding import FILES, Finding, good, not_checked, not_good
from .terminal_operator import PlainDisplay, TerminalOperator

_BY_RF = "only RF can show it: --with-rf, for a second at a low setting"


def run_doctor(choice: BenchChoice, *, with_rf: bool, as_json: bool) -> int:
    """Print every finding; return the largest of their exit codes, 0 where none is NOT GOOD.

    `with_rf`: also short activations at a low setting, which OFF and the analyzer's own time limit
    must end.
    """
    data = choice.read()

    async def work() -> list[Finding]:
        person = TerminalOperator(PlainDisplay())
        opening = open_bench(data, unattended=not with_rf, guarded=choice.guarded, person=person)
        async with opening as bench:
            found = [finding async for finding in _findings(bench)]
            return [*found, *await _with_rf(bench)] if with_rf else [*found, *_without_rf(bench)]

    findings = anyio.run(work)
    _print(findings, as_json=as_json)
    return max(finding.code for finding in findings)


async def _findings(bench: Bench) -> AsyncIterator[Finding]:
    await ensure_off_at_start(bench)
    yield good("output reads off")
    identity = await bench.analyzer.identify()
    yield good("analyzer", identity)
    yield await _generator(bench)
    yield _certificate(bench, identity)
    yield _decides(bench.analyzer.data.meter)
    for finding in _command_sets(bench):
        yield finding
    kit = Kit(
        bench.analyzer,
        bench.clock,
        _no_activation,
        bench.analyzer.data.load_bank.loads_ohm[0],
    )
    for check in WITHOUT_RF:
        yield await _finding(check, kit)
    yield await _watchdog(bench)


async def _generator(bench: Bench) -> Finding:
    identity = await bench.generator.identify()
    if bench.generator.unattended:
        return good("generator", identity)
    return not_checked("generator", f"it has no port; hold its label against '{identity}'")


def _certificate(bench: Bench, identity: str) -> Finding:
    name, certificate = "analyzer's certificate", bench.certificate
    if certificate is None:
        return not_checked(name, "none is named: uncertainties will be of the readings alone")
    known = certificate.traceability(bench.clock.wall().date())
    if known.expired:
        return not_good(name, f"{known.certificate}, expired {known.due_on}", FILES)
    try:
        refuse_foreign(bench, identity)
    except UsageError as error:
        return not_good(name, error.happened, FILES)
    return good(name, f"{known.certificate}, due {known.due_on}")


def _decides(meter: MeterData) -> Finding:
    """Return what the meter's data let it decide; a procedure is held against it by `lint`."""
    least_ma = rounded_up(narrowest_tolerance_ma(meter))
    after_s = needed_after_age_s(meter)
    return good(
        "what the meter decides",
        f"±{least_ma:g} mA and wider, {after_s:.3g} s after the age asked for; see lint",
    )


def _command_sets(bench: Bench) -> Iterator[Finding]:
    """Yield whether the command sets cover what the data files say the instruments can do."""
    analyzer, generator = bench.analyzer, bench.generator
    yield _agreeing("analyzer", analyzer_contradictions(analyzer.data, analyzer.verbs))
    if generator.verbs is not None:
        yield _agreeing("generator", generator_contradictions(generator.data, generator.verbs))


def _agreeing(who: str, contradictions: Iterable[str]) -> Finding:
    name, found = f"{who}'s data and command set agree", "; ".join(contradictions)
    return not_good(name, found, FILES) if found else good(name)


async def _watchdog(bench: Bench) -> Finding:
    """Check that the guard sends OFF when it hears nothing; the output is off throughout."""
    name = "the guard trips"
    try:
        proved = await bench.analyzer.prove_watchdog()
    except LinkError as error:
        return not_good(name, str(error))
    if proved is None:
        return not_checked(name, "this bench is worked without a guard")
    return good(name)


def _without_rf(bench: Bench) -> Iterator[Finding]:
    """Yield the checks that cannot be made with the output off."""
    yield not_checked("OFF ends an activation", _BY_RF)
    name = "ends an activation by itself"
    if bench.analyzer.data.activation.bounded:
        yield not_checked(name, _BY_RF)
    else:
        yield _host_guarded(name)


def _host_guarded(name: str) -> Finding:
    return not_good(name, "host-guarded only: no unattended runs on this bench")


async def _with_rf(bench: Bench) -> list[Finding]:
    """Check that OFF and the time limit each end an activation of some seconds at low power."""
    try:
        proved = [event async for event in protection_self_test(Session(bench))]
    except (LinkError, OutOfCapability) as error:
        return [not_good("OFF and the limit end an activation", str(error))]
    except Interjection:
        who = bench.operator.name
        return [not_checked("OFF and the limit end an activation", f"{who} did not want it")]
    seen = [good(event.what) for event in proved if isinstance(event, ProtectionProved)]
    bounded = bench.analyzer.data.activation.bounded
    return seen if bounded else [*seen, _host_guarded("ends an activation by itself")]


async def _finding(check: ConformanceCheck, kit: Kit) -> Finding:
    name = check.__name__.replace("_", " ")
    try:
        problem = await check(kit)
    except LinkError as error:
        problem = str(error)
    if problem is not None:
        return not_good(name, problem)
    verbs = kit.analyzer.verbs
    if check is sets_every_load and verbs is not None and "load" not in verbs:
        return not_checked(name, "all were taken; its command set cannot ask which is connected")
    return good(name)


def _no_activation(_load_ohm: float, _limit_s: float) -> NoReturn:
    raise AssertionError("doctor switches nothing on")


def _print(findings: list[Finding], *, as_json: bool) -> None:
    if as_json:
        print_json([asdict(finding) for finding in findings])
        return
    table = Table("Check", "", "Detail")
    for finding in findings:
        table.add_row(finding.check, finding.styled, finding.detail)
    out().print(table)
