"""The lines printed above and below the tables of a run."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.console import RenderableType
from rich.text import Text

from ohmwright.api.run_notices import unsaved_text
from ohmwright.engine.steps.sweep import NO_LIMITS
from ohmwright.model.bench_file import Asset
from ohmwright.model.event import Event, Fault, RunFinished, RunStarted
from ohmwright.model.result import Result, TraceabilityBasis, Verdict, asks_nothing
from ohmwright.reports.part_texts import fault_text, interruption_lines, rf_not_ended_text
from ohmwright.reports.risk_text import decision_rules
from ohmwright.reports.run_parts import RunPart, on_time_text, run_totals_s
from ohmwright.reports.run_remarks import remarks_of_run
from ohmwright.reports.text import printable
from ohmwright.reports.traceability_marks import NOT_TRACEABLE, ValueMarks, mark_letter
from ohmwright.reports.uncertainty_text import left_out_text
from ohmwright.reports.verdict_grounds import covered, past_due_text, uncovered_text

VERDICT_STYLES: dict[Verdict, str] = {
    "pass": "green",
    "fail": "bold red",
    "undecided": "bold yellow",
    "not measured": "dim",
}


def header_lines(
    events: Iterable[Event], results: Iterable[Result], marks: ValueMarks
) -> Iterable[RenderableType]:
    """Return procedure, unit, analyzer, traceability, and by whom settings were only reported."""
    yield from _heading(events)
    yield from _traceability(marks.bases)
    yield from _settings_reported_by(results)


def footer_lines(
    events: Sequence[Event], results: Sequence[Result], parts: Sequence[RunPart]
) -> Iterable[RenderableType]:
    """Return reasons, rules, what U lacks, missing protections, interruptions, remarks, verdict."""
    yield from _reasons(results)
    yield from _requirements(results)
    yield from _rules(results)
    if left_out := left_out_text(results):
        yield Text(left_out, style="dim")
    yield from _protections(parts)
    yield from _interruptions(parts)
    yield from (Text(remark, style="dim") for remark in remarks_of_run(events))
    yield from _ending(events, parts, results)


def unit_line(unit: Asset) -> str:
    """Return what unit was measured, as one printable line."""
    return printable(f"Unit {unit.id}: {unit.maker} {unit.model}, serial {unit.serial}")


def simulated_line(seed: int) -> str:
    """Return the line that marks what was measured on a simulated unit."""
    return f"SIMULATED, seed {seed}: no evidence about any real unit"


def _heading(events: Iterable[Event]) -> Iterable[RenderableType]:
    for event in events:
        if isinstance(event, RunStarted):
            yield Text(printable(f"{event.procedure}, revision {event.revision}"), style="bold")
            yield Text(unit_line(event.asset))
            if event.work_order:
                yield Text(printable(f"Work order {event.work_order}"))
            yield Text(printable(f"Analyzer {event.analyzer}"))
            if event.seed is not None:
                yield Text(simulated_line(event.seed))


def _traceability(bases: Sequence[TraceabilityBasis]) -> Iterable[Text]:
    """Return a line for each basis: the common one first, then those marked with a letter."""
    for place, basis in enumerate(bases):
        text = _basis(basis)
        if place > 0 and isinstance(basis, str):
            text = Text(NOT_TRACEABLE[basis].removeprefix("none: "), style="yellow")
        yield Text(f"{mark_letter(place)}: " if place > 0 else "").append(text)


def _settings_reported_by(results: Iterable[Result]) -> Iterable[Text]:
    """Return who reported what no instrument could read: setting, load, readings, foot switch."""
    results = list(results)
    read = [r for r in results if r.path != "none"]  # an answer is told in the row of its step
    for what, names in (
        ("Mode and setting as told by", [r.setting_told_by for r in results]),
        ("Load resistance as told by", [r.load_told_by for r in results]),
        ("Values typed by", [r.readings_told_by for r in read]),
        ("RF kept on at the foot switch by", [r.keyed_by for r in results]),
    ):
        if who := dict.fromkeys(filter(None, names)):
            yield Text(printable(f"{what} {', '.join(who)}"))


def _basis(basis: TraceabilityBasis) -> Text:
    if basis == "none":
        text = "NO ANALYZER CERTIFICATE: uncertainties are of the readings alone"
        return Text(text, style="bold yellow")
    if isinstance(basis, str):
        return Text(f"Traceability: {NOT_TRACEABLE[basis]}")
    if basis is None:
        return Text("Traceability is not recorded", style="bold yellow")
    said = printable(f"Certificate {basis.certificate}, {basis.laboratory}, due {basis.due_on}")
    words = basis.serial_words
    serial = f"\n{printable(words[:1].upper() + words[1:])}" if words else ""
    if basis.expired:
        return Text(f"{said}: EXPIRED{serial}", style="bold red")
    return Text(f"{said}{serial}")


def _reasons(results: Iterable[Result]) -> Iterable[Text]:
    """Return a line for each result that has a reason or remark; one for those without limits."""
    without_limits: dict[str, None] = {}
    for result in results:
        if result.reason == NO_LIMITS:
            without_limits[f"{result.stage.replace('_', ' ')}, {result.step}"] = None
        elif result.reason:
            where = f"{result.stage.replace('_', ' ')}, {result.step} {result.point}"
            yield Text(printable(f"{where}: {result.reason}"), style=VERDICT_STYLES[result.verdict])
    yield from (Text(printable(f"{where}: {NO_LIMITS}"), style="dim") for where in without_limits)


def _requirements(results: Iterable[Result]) -> Iterable[Text]:
    """Return what points without limits had to meet, and what was held against it."""
    found: dict[tuple[str, str, str], list[str]] = {}
    for result in results:
        if result.requirement:
            key = result.stage.replace("_", " "), result.step, result.requirement
            held = found.setdefault(key, [])
            if result.held_against_it:
                held.append(f"{result.point} {result.held_against_it}")
    for (stage, step, requirement), held in found.items():
        seen = f": {'; '.join(held)}" if held else ""
        said = f"{stage}, {step}{seen}. Required: {requirement}"
        yield Text(printable(said), style="dim")


def _protections(parts: Sequence[RunPart]) -> Iterable[Text]:
    """Return one line with the protections that the bench lacked in any part of the run."""
    known = [part.protections for part in parts if part.protections is not None]
    lacking = dict.fromkeys(words for one in known for words, there in one.words() if not there)
    for one in dict.fromkeys(known):
        if one.foot_switch or one.guard_words:
            words = ". ".join(filter(None, (one.grade_words, one.guard_words)))
            yield Text(f"{words[0].upper()}{words[1:]}.", style="yellow")
    if lacking:
        yield Text(f"Protections that the bench lacked: {'; '.join(lacking)}.", style="dim")


def _interruptions(parts: Sequence[RunPart]) -> Iterable[Text]:
    for line in interruption_lines(parts):
        yield Text(line, style="yellow")


def _rules(results: Sequence[Result]) -> Iterable[Text]:
    """Return what the figures mean, what no certificate covers, and the rules that decided."""
    rules = decision_rules(results)
    if rules and any(r.conformity is not None for r in covered(results)):
        yield Text(
            "± is U, of about 95 % coverage; P is the probability that the true value lies within "
            "the limits; TUR, the test uncertainty ratio, is half the tolerance divided by U.",
            style="dim",
        )
    if said := uncovered_text(results):
        yield Text(f"PASS and FAIL are {said}. Such values have no P and no TUR.", style="yellow")
    if said := past_due_text(results):
        yield Text(said, style="yellow")
    if rules:
        yield Text(printable(f"Decided by: {'; '.join(rules)}."), style="dim")


def _verdict_words(last: RunFinished, results: Sequence[Result]) -> tuple[str, str]:
    """Return the verdict of a run and its style; of one without limits, that it measured."""
    if asks_nothing(results):
        return "measured, with no limits to decide by", ""
    return last.verdict.upper(), VERDICT_STYLES[last.verdict]


def _ending(
    events: Sequence[Event], parts: Sequence[RunPart], results: Sequence[Result]
) -> Iterable[RenderableType]:
    last = events[-1] if events else None
    if isinstance(last, RunFinished):
        if said := unsaved_text(results):  # beside the verdict, which is read by who reads no more
            yield Text(printable(said), style="bold yellow")
        on_s, bench_time_s = run_totals_s(events)
        text = Text("Result: ").append(*_verdict_words(last, results))
        on_time = on_time_text(on_s, parts)
        yield text.append(f"   ({bench_time_s / 60:.1f} min at the bench, RF on for {on_time})")
    elif isinstance(last, Fault):
        what = "Cut short" if any(isinstance(e, RunStarted) for e in events) else "Refused"
        yield Text(printable(f"{what}: {fault_text(last)}"), style="bold red")
    elif last is not None:
        yield Text("Not finished: the record ends here", style="bold yellow")
        if said := rf_not_ended_text(parts[-1]):
            yield Text(said, style="bold red")
    if parts and parts[-1].left_open:
        yield Text(printable(parts[-1].left_open), style="bold")
