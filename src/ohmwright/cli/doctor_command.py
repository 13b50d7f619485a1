"""The command `doctor`: open and check every instrument; RF stays off unless asked for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict

import anyio
from rich.table import Table

from ohmwright.api.bench_data import BenchChoice
from ohmwright.api.open_bench import open_bench
from ohmwright.engine.low_output import low_output
from ohmwright.engine.protection_self_test import protection_self_test
from ohmwright.engine.session import Session
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.conformance import observe, title
from ohmwright.instruments.conformance_on import (
    activates_reads_and_releases,
    off_opens_the_output,
)
from ohmwright.instruments.operator import Interjection
from ohmwright.instruments.requests import BeReadyForRf
from ohmwright.model.errors import (
    LinkError,
    OutOfCapability,
    RfUnsafe,
    Stopped,
)
from ohmwright.model.event import ProtectionProved

from .console import CAUTION, err, out, print_json
from .doctor_checks import READS_OFF, findings_with_rf_off
from .doctor_conformance import conformance_findings, finding_of
from .doctor_finding import (
    LINK,
    Finding,
    good,
    not_checked,
    not_good,
)
from .rf_lines import RfLines
from .terminal_operator import PlainDisplay, TerminalOperator

BY_RF = "only RF can show it: --with-rf, for some seconds at a low setting"
_BY_PERSON = (
    "a person ends RF on this bench, or says that it has ended: nothing else is there to try"
)


def run_doctor(choice: BenchChoice, *, with_rf: bool, conformance: bool, as_json: bool) -> int:
    """Print every finding; return the largest of their exit codes, 0 where none is NOT GOOD.

    `with_rf`: also short activations at a low setting, which OFF and the analyzer's own time limit
    must end; with `conformance` those of every check of the conformance kit.
    """
    data = choice.read()
    if with_rf:
        err().print(CAUTION, style="bold")

    findings: list[Finding] = []

    async def work() -> None:
        person = TerminalOperator(PlainDisplay())
        opening = open_bench(data, unattended=not with_rf, guarded=choice.guarded, person=person)
        async with opening as bench:
            async for finding in findings_with_rf_off(bench):
                findings.append(finding)
            why_not = await _why_no_rf(bench, findings) if with_rf else _why_not_asked(bench)
            if conformance:
                async for finding in conformance_findings(bench, why_not):
                    findings.append(finding)
            elif why_not is None:
                findings.extend(await _with_rf(bench))
            else:
                findings.extend(_without_rf(bench, why_not))

    try:
        anyio.run(work)
    except Interjection as choice:
        raise Stopped("A person has ended the checks.") from choice
    except RfUnsafe as failed:
        # the first finding is what was read before anything was switched on
        name = title(off_opens_the_output) if findings else READS_OFF
        findings.append(not_good(name, failed.happened, failed.exit_code))
        raise
    finally:  # what was seen before something ended it is shown, too
        if findings:
            _print(findings, as_json=as_json)
    return max(finding.code for finding in findings)


def _why_not_asked(bench: Bench) -> str:
    return _BY_PERSON if bench.analyzer.released_by_hand else BY_RF


async def _why_no_rf(bench: Bench, found: Sequence[Finding]) -> str | None:
    """Why RF is not to be switched on, though asked for; None where a person agrees to it."""
    if bench.analyzer.released_by_hand:
        return _BY_PERSON
    if any(finding.code == LINK for finding in found):
        return "what is NOT GOOD with RF off has to be mended first"
    try:
        await bench.operator.carry_out(BeReadyForRf())
    except Interjection:
        return f"{bench.operator.name} did not want it"
    return None


def _without_rf(bench: Bench, why_not: str) -> Iterator[Finding]:
    """Yield the checks that cannot be made with the output off, and why they were not made."""
    yield not_checked("OFF ends an activation", why_not)
    if bench.analyzer.released_by_hand:
        return
    name = "ends an activation by itself"
    if bench.analyzer.data.activation.bounded:
        yield not_checked(name, why_not)
    else:
        yield _host_guarded(name)


def _host_guarded(name: str) -> Finding:
    return not_good(name, "host-guarded only: no unattended runs on this bench")


async def _with_rf(bench: Bench) -> list[Finding]:
    """Check what is read with RF on, and that OFF and the time limit each end an activation.

    Each takes an activation of some seconds at low power.
    """
    session, reads = Session(bench, RfLines()), activates_reads_and_releases
    low = await low_output(session)
    seen = [finding_of(reads, await observe(reads, low.kit))]
    try:
        proved = [event async for event in protection_self_test(session, low)]
    except (LinkError, OutOfCapability) as error:
        return [*seen, not_good("OFF and the limit end an activation", str(error))]
    seen += [good(event.what) for event in proved if isinstance(event, ProtectionProved)]
    bounded = bench.analyzer.data.activation.bounded
    return seen if bounded else [*seen, _host_guarded("ends an activation by itself")]


def _print(findings: list[Finding], *, as_json: bool) -> None:
    if as_json:
        print_json([asdict(finding) for finding in findings])
        return
    table = Table("Check", "", "Detail")
    for finding in findings:
        table.add_row(finding.check, finding.styled, finding.detail)
    out().print(table)
