"""What `doctor` finds of a bench with the output off."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable, Iterator

from ohmwright.engine.decidability import needed_after_age_s
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.room import narrowest_tolerance_ma, rounded_up
from ohmwright.engine.traceability import refuse_foreign
from ohmwright.engine.unasked_rf import end_unasked, ensure_off_at_start
from ohmwright.instruments.analyzer import Analyzer
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.conformance_off import ONLY_A_CURRENT_PROVES, off_taken
from ohmwright.instruments.required_messages import (
    analyzer_contradictions,
    generator_contradictions,
)
from ohmwright.model.by_hand import NO_PORT
from ohmwright.model.errors import LinkError, UsageError
from ohmwright.model.event import UnaskedRf
from ohmwright.model.protections import Protections

from .doctor_conformance import findings_without_rf
from .doctor_finding import FILES, LINK, Finding, absent, good, not_checked, not_good, stated

READS_OFF = "output reads off"
"""The name of the first finding."""
_STILL_OFF = "output still reads off after these checks"
_ASKED, _AT_ONCE_S = 5, 0.2
"""How often the analyzer is asked who it is, and the longest answer of a quick line; no source."""


async def findings_with_rf_off(bench: Bench) -> AsyncIterator[Finding]:
    """Yield what is found of instruments, files and protections; nothing is switched on."""
    analyzer = bench.analyzer
    if analyzer.read_by_eye:
        yield not_checked(READS_OFF, "only a person can read the meter: a run asks them")
    else:
        yield await _reads_off(bench)
    identity = await analyzer.identify()
    if analyzer.protections.is_linked:
        yield good("analyzer", identity)
        yield await _answers(bench)
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
    if not analyzer.read_by_eye and (left_on := await _left_on(bench)) is not None:
        yield left_on


async def _reads_off(bench: Bench) -> Finding:
    """Return whether RF reads off, and read so before anything was sent."""
    pending = PendingEvents()
    await ensure_off_at_start(bench, pending)
    if (ended := _ended(READS_OFF, pending)) is not None:
        return ended
    if not bench.rf.proves_off:
        return not_checked(READS_OFF, f"no current is read: {ONLY_A_CURRENT_PROVES}")
    return good(READS_OFF)


async def _left_on(bench: Bench) -> Finding | None:
    """End RF that reads on after the checks, none of which switches it on; None where it is off."""
    pending = PendingEvents()
    await end_unasked(await bench.rf.evidence_on(), bench, pending)
    return _ended(_STILL_OFF, pending)


def _ended(check: str, pending: PendingEvents) -> Finding | None:
    """Return that RF was on and was ended; None where it was not on."""
    seen = [event.seen for event in pending.take() if isinstance(event, UnaskedRf)]
    if not seen:
        return None
    why = "a pedal, a second control, a contact that sticks?"
    return not_good(check, f"RF was on ({'; '.join(seen)}) and read off after OFF: {why}")


def _protections(protections: Protections) -> Iterator[Finding]:
    """Yield each protection as its files declare it, then who must be there and why."""
    for words, there, remedy in protections.with_remedies():
        yield stated(words) if there else absent(words, remedy)
    if protections.by_hand:
        yield stated("done by a person", f"{', '.join(protections.by_hand)}: nothing reads it back")
    if protections.guard_words:
        yield absent("guard", protections.guard_words)
    yield stated("who must be there", protections.grade_words)


async def _answers(bench: Bench) -> Finding:
    """Return how long the analyzer's answers take: OFF is read back by several."""
    clock, took_s = bench.clock, []
    for _ in range(_ASKED):
        asked_s = clock.now_s()
        await bench.analyzer.identify()
        took_s.append(clock.now_s() - asked_s)
    seen = f"{max(took_s):.2g} s at most for one, of {_ASKED}"
    if max(took_s) <= _AT_ONCE_S:
        return good("answers at once", seen)
    return absent(
        "a line that answers at once",
        f"{seen}: that RF is off is known only several answers after OFF, and readings come no "
        "quicker than answers; a higher baud rate, or fewer devices on the way",
    )


async def _generator(bench: Bench) -> Finding:
    identity = await bench.generator.identify()
    if bench.generator.unattended:
        return good("generator", identity)
    return not_checked("generator", f"it has no port; hold its label against {_label(identity)}")


def _label(identity: str) -> str:
    """What the bench file says that the label of a unit without a port has, in quotes."""
    return f"'{identity.removesuffix(f' ({NO_PORT})')}' (from the bench file)"


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
