"""What a command prints of a run on record: tables or JSON, how to resume it, its exit code."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress

from rich.text import Text

from ohmwright.engine.run_so_far import is_refused, recorded_unit, results, run_started_event
from ohmwright.model import errors, rf_state
from ohmwright.model.event import (
    Event,
    Fault,
    FileAttached,
    PointDone,
    RunFinished,
)
from ohmwright.model.result import Verdict, asks_nothing
from ohmwright.model.run_diagnoses import newest_diagnoses
from ohmwright.model.typed_command import records_option
from ohmwright.records.addendum import Addendum, is_voided
from ohmwright.records.seal import SealStatement
from ohmwright.records.store import Store
from ohmwright.reports.issue import addendum_lines
from ohmwright.reports.run_parts import RunPart, parts_of_run
from ohmwright.reports.verdict_grounds import ground_of, is_by_readings_alone

from .console import err, out, print_json
from .tables import run_tables

NEVER_BEGUN = "It was cut short before it began: begin a new run."
REFUSED = "It was refused, and is over: begin a new run."
EXIT_CODES: dict[Verdict, int] = {"pass": 0, "fail": 1, "undecided": 4, "not measured": 4}


GoOn = Callable[[str], str]
"""Returns how a run is gone on with, by its number."""


def by_resume_option(run_id: str) -> str:
    """Return what is added to the command that began a run, where that command is not known."""
    return f"the command that began it, with --resume {run_id}{records_option()}"


def print_rf_after_stop() -> None:
    """Print, on standard error, what was read of RF last: a person has stopped the run."""
    err().print(Text(rf_state.latest().text()), soft_wrap=True)


def print_how_to_resume(
    store: Store, run_id: str, go_on: GoOn = by_resume_option, *, before: int = 0
) -> None:
    """Print, on standard error, where the record is and how the run is resumed, if it can be.

    `before`: events that it had before this command, to which one that was refused adds none; that
    would be refused again.
    """
    with suppress(Exception):  # the record itself may have failed, which is reported already
        events = store.events(run_id) if run_id in store.run_ids() else ()
        if len(events) > before:
            err().print(f"The record so far: {store.place(run_id)}", soft_wrap=True)
            how = f"Go on with: {go_on(run_id)}"
            if run_started_event(events) is None:
                how = NEVER_BEGUN
            err().print(Text(REFUSED if is_refused(events) else how), soft_wrap=True)


def print_run(
    run_id: str,
    events: tuple[Event, ...],
    store: Store,
    *,
    as_json: bool,
    addenda: Sequence[Addendum] = (),
    sealed: SealStatement | None = None,
    go_on: GoOn = by_resume_option,
) -> None:
    """Print a run as tables, or as one JSON document; an unfinished one with how to resume it.

    What was approved, amended or declared void afterwards comes last. `sealed`: who sealed the
    record.
    """
    if not as_json:
        out().print(run_tables(events))
        for line in addendum_lines(run_id, addenda, sealed, recorded_unit(events)):
            out().print(Text(line, style="bold"), soft_wrap=True)
        out().print(f"Record: {store.place(run_id)}", soft_wrap=True)
        if not isinstance(events[-1], RunFinished):
            print_how_to_resume(store, run_id, go_on)
        return
    started = run_started_event(events)
    kept = [event.attachment for event in events if isinstance(event, FileAttached)]
    document = {
        "run": run_id,
        "asset": None if started is None else started.asset.model_dump(mode="json"),
        "work_order": "" if started is None else started.work_order,
        "attached": [{"name": one.name, "sha256": one.sha256} for one in kept],
        "record": store.place(run_id),
        "verdict": verdict(events),
        "void": is_voided(addenda),
        "addenda": [one.document()["statement"] for one in addenda],
        "parts": [_part_json(part) for part in parts_of_run(events)],
        "results": [_result_json(event) for event in events if isinstance(event, PointDone)],
        "diagnosis": [one.model_dump(mode="json") for one in newest_diagnoses(events)],
    }
    print_json(document)


def _result_json(event: PointDone) -> dict[str, object]:
    """JSON object of a result, with its time; no probabilities where no certificate covers it.

    They would be of the output, and the figures say how the readings lie.
    """
    result = event.result
    document = {"at": event.at.isoformat(), **result.model_dump(mode="json")}
    alone = result.measured is not None and is_by_readings_alone(result)
    document["verdict_by"] = "" if result.measured is None else ground_of(result)
    if alone:
        document["measured"]["coverage_factor"] = None
        if result.conformity is not None:
            unstated = dict.fromkeys(("probability", "uncertainty_ratio", "false_accept"))
            document["conformity"] |= unstated
    return document


def _part_json(part: RunPart) -> dict[str, object]:
    """JSON object of one part of a run: operator, times, what cut it short, room conditions."""
    room = part.environment
    return {
        "operator": part.operator,
        "begun": part.begun_at.isoformat(),
        "ended": part.ended_at.isoformat(),
        "cut_short_by": part.cut_short_by or None,
        "results": len(part.results),
        "environment": None if room is None else room.model_dump(mode="json"),
    }


def verdict(events: tuple[Event, ...]) -> Verdict:
    """Return the verdict of a run; `not measured` for one that is not finished."""
    last = events[-1]
    return last.verdict if isinstance(last, RunFinished) else "not measured"


def exit_code(events: tuple[Event, ...]) -> int:
    """Return the exit code of a run: 0 pass, 1 fail, 4 undecided, not measured or unfinished.

    That of a run that ended with an error is the error's, of one that is none of ours a fault of
    the program; 0 where it was to measure alone, without limits, and every value is known.
    """
    last = events[-1]
    if isinstance(last, Fault):
        error = getattr(errors, last.error, errors.ProgramFault)
        return int(getattr(error, "exit_code", errors.ProgramFault.exit_code))
    if isinstance(last, RunFinished) and asks_nothing(tuple(results(events))):
        return EXIT_CODES["pass"]
    return EXIT_CODES[verdict(events)]
