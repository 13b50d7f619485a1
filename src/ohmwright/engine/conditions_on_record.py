"""Whether results were measured and decided as the procedure that was kept with them states.

That is mode, setting, load resistance, the age at which a value holds, the decision rule, and what
papers say that it notes of a step.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache

from ohmwright.model.decision import OwnRule, SimpleAcceptance
from ohmwright.model.document import Document
from ohmwright.model.event import Event, PointDone, StepStarted
from ohmwright.model.result import Result
from ohmwright.model.step import Timing

from .judge import conformity
from .kept_documents import read_kept_procedure, with_parts
from .steps import Step
from .steps.base import TimedStep
from .verdict_on_record import rule_in_words


def differing_conditions(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each result or note that is not its procedure's.

    A resumed run goes by the procedure that it was resumed with. A procedure that cannot be read
    here is passed over.
    """
    for number, event, part in with_parts(events):
        procedure = None if part is None else part.document("procedure")
        stated = {} if procedure is None else _steps_of(procedure)
        match event:
            case StepStarted(step=name, note=note) if note and name in stated:
                if note != stated[name][0].note:
                    yield number, f"{name}: the procedure kept with the run does not note '{note}'"
            case PointDone(result=result) if result.step in stated:
                step, timing = stated[result.step]
                for said in (*_other_condition(result, step, timing), *_other_rule(result, step)):
                    yield number, f"{result.step}, {result.point}: {said}"
            case _:
                pass


@lru_cache(maxsize=64)
def _steps_of(document: Document) -> Mapping[str, tuple[Step, Timing]]:
    """Return the steps of a procedure with their times, by name; none where it cannot be read."""
    procedure = read_kept_procedure(document)
    steps = () if procedure is None else procedure.step
    return {step.name: (step, procedure.timing(step)) for step in steps if procedure is not None}


def _other_condition(result: Result, step: Step, timing: Timing) -> Iterator[str]:
    """Yield what the procedure says against mode, setting, load and age of a result."""
    said: list[tuple[str, object, object]] = []
    if (condition := step.stated_conditions().get(result.point)) is not None:
        said += [(key, getattr(result, key), getattr(condition, key)) for key in condition._fields]
    if result.measured is not None and _values_hold_at_age(step):
        said.append(("age_s", result.measured.age_s, timing.age_s))
    for key, recorded, stated in said:
        if None not in (recorded, stated) and recorded != stated:
            yield f"{key} is {recorded}, and the procedure kept with the run says {stated}"


def _values_hold_at_age(step: Step) -> bool:
    """Return whether values of the step hold at the procedure's age of an activation."""
    return isinstance(step, TimedStep) and step.activates_for_each_result


def _other_rule(result: Result, step: Step) -> Iterator[str]:
    """Yield that a result was decided by another rule than its procedure's, or by none.

    What a rule of another package calls itself is its own affair.
    """
    rule = step.rule if isinstance(step, TimedStep) else SimpleAcceptance()
    how = result.conformity
    again = None if isinstance(rule, OwnRule) else conformity(result.measured, result.target, rule)
    if again is None or (how is None and not _is_decided_by_rule(result, step)):
        return
    recorded = "none" if how is None else how.rule
    if rule_in_words(recorded) != rule_in_words(again.rule):  # another version may word it anew
        yield (
            f"its decision rule is {recorded}, and that of the procedure kept with the run is "
            f"{again.rule}"
        )


def _is_decided_by_rule(result: Result, step: Step) -> bool:
    """Return whether the verdict needs a rule: a figure that a person typed has none."""
    return isinstance(step, TimedStep) and result.verdict in ("pass", "fail")
