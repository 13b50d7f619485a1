"""The command `doctor`: open and check every instrument; RF stays off unless asked for."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable, Iterator, Sequence
from dataclasses import asdict

import anyio
from rich.table import Table

from ohmwright.api.bench_data import BenchChoice
from ohmwright.api.open_bench import open_bench
from ohmwright.engine.decidability import needed_after_age_s
from ohmwright.engine.low_output import low_output
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.protection_self_test import protection_self_test
from ohmwright.engine.room import narrowest_tolerance_ma, rounded_up
from ohmwright.engine.session import Session
from ohmwright.engine.traceability import refuse_foreign
from ohmwright.engine.unasked_rf import ensure_off_at_start
from ohmwright.instruments.analyzer import Analyzer
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.conformance import observe, title
from ohmwright.instruments.conformance_off import ONLY_A_CURRENT_PROVES, off_taken
from ohmwright.instruments.conformance_on import (
    activates_reads_and_releases,
    off_opens_the_output,
)
from ohmwright.instruments.operator import Interjection
from ohmwright.instruments.requests import BeReadyForRf
from ohmwright.instruments.required_messages import (
    analyzer_contradictions,
    generator_contradictions,
)
from ohmwright.model.errors import (
    LinkError,
    OutOfCapability,
    RfUnsafe,
    Stopped,
    UsageError,
)
from ohmwright.model.event import ProtectionProved, UnaskedRf
from ohmwright.model.protections import Protections

from .console import CAUTION, err, out, print_json
from .doctor_conformance import conformance_findings, finding_of, findings_without_rf
from .doctor_finding import (
    FILES,
    LINK,
    Finding,
    absent,
    good,
    not_checked,
    not_good,
    stated,
)
from .rf_lines import RfLines
from .terminal_operator import PlainDisplay, TerminalOperator

_READS_OFF = "output reads off"
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
            async for finding in _findings(bench):
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
        name = title(off_opens_the_output) if findings else _READS_OFF
        findings.append(not_good(name, failed.happened))
        raise
    finally:  # what was seen before something ended it is shown, too
        if findings:
            _print(findings, as_json=as_json)
    return max(finding.code for finding in findings)


async def _findings(bench: Bench) -> AsyncIterator[Finding]:
    analyzer = bench.analyzer
    if analyzer.read_by_eye:
        yield not_checked(_READS_OFF, "only a person can read the meter: a run asks them")
    else:
        yield await _reads_off(bench)
    identity = await analyzer.identify()
    if analyzer.protections.is_linked:
        yield good("analyzer", identity)
    else:
        yield not_checked("analyzer", f"it has no link; hold its label against '{identity}'")
    yield await _generator(bench)
    yield _certificate(bench, identity)
    yield _decides(analyzer)
    for finding in _command_sets(bench):
        yield finding
    async for finding in findings_without_rf(bench):
        yield finding
    yield await _watchdog(bench)
    for finding in _protections(analyzer.protections):
        yield finding


async def _reads_off(bench: Bench) -> Finding:
    """Return whether RF reads off, and read so before anything was sent."""
    pending = PendingEvents()
    await ensure_off_at_start(bench, pending)
    seen = [event.seen for event in pending.take() if isinstance(event, UnaskedRf)]
    if seen:
        why = "a pedal, a second control, a contact that sticks?"
        return not_good(_READS_OFF, f"RF was on ({'; '.join(seen)}) and was ended: {why}")
    if not bench.rf.proves_off:
        return not_checked(_READS_OFF, f"no current is read: {ONLY_A_CURRENT_PROVES}")
    return good(_READS_OFF)


def _protections(protections: Protections) -> Iterator[Finding]:
    """Yield each protection as its files declare it, then who must be there and why."""
    for words, there, remedy in protections.with_remedies():
        yield stated(words) if there else absent(words, remedy)
    if protections.by_hand:
        yield stated("done by a person", f"{', '.join(protections.by_hand)}: nothing reads it back")
    if protections.guard_words:
        yield absent("guard", protections.guard_words)
    yield stated("who must be there", protections.grade_words)


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


def _decides(analyzer: Analyzer) -> Finding:
    """Return what the meter's data let it decide; a procedure is held against it by `lint`."""
    meter = analyzer.data.meter
    least_ma = rounded_up(narrowest_tolerance_ma(meter))
    after_s = needed_after_age_s(meter, typed=analyzer.read_by_eye)
    return good(
        "what the meter decides",
        f"tolerances of ±{least_ma:g} mA and wider, if RF may last {after_s:.3g} s longer than "
        "the age that a procedure asks for",
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
    seen = off_taken(bench.analyzer.off_answer, "it heard nothing and sent OFF")
    return Finding(name, seen.state, seen.what, LINK if seen.problem is not None else 0)


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
