"""What the parts of a run say of RF and of service mode where the record breaks off."""

import pytest

from ohmwright.model.event import ActivationOpened, Event, Fault, ProtectionProved, StepStarted
from ohmwright.model.protections import Protections
from ohmwright.model.step import Stage
from ohmwright.reports.part_texts import protection_lines
from ohmwright.reports.run_parts import on_time_text, parts_of_run

from .conftest import a_run
from .test_run_parts import interrupted, later  # noqa: F401 - a fixture

BEGUN = a_run([])[0]
OPENED = ActivationOpened(**later(1), load_ohm=500, limit_s=None)


def fault(rf_state: str, on_s: float | None = 4.0) -> Fault:
    return Fault(**later(2), error="X", message="Why.", rf_state=rf_state, on_s=on_s)


@pytest.mark.parametrize(
    ("events", "words"),
    [
        ((BEGUN, OPENED), "at most 4 s, and more: an activation has no end on record"),
        ((BEGUN, OPENED, fault("off", None)), "at most 4 s, and more: an activation has no end"),
        ((BEGUN, OPENED, fault("off")), "at most 4 s"),
        ((BEGUN, OPENED, fault("on")), "an unknown time"),
        ((BEGUN, OPENED, fault("unknown")), "an unknown time"),
    ],
)
def test_rf_that_was_not_read_as_off_was_on_for_longer(
    events: tuple[Event, ...], words: str
) -> None:
    said = on_time_text(3.2, parts_of_run(events))
    assert said.startswith(words)
    assert (said == words) is (words == "at most 4 s" or words.endswith("record"))


@pytest.mark.parametrize(
    ("stages", "is_open"),
    [
        (("as_found",), False),
        (("as_found", "adjust"), True),
        (("as_found", "adjust", "as_left"), False),
    ],
)
def test_a_unit_may_be_in_service_mode_where_the_record_ends_amid_an_adjustment(
    stages: tuple[Stage, ...], is_open: bool
) -> None:
    steps = [StepStarted(**later(n), stage=stage, step="s") for n, stage in enumerate(stages)]
    (part,) = parts_of_run((BEGUN, *steps))
    assert ("service mode" in part.left_open) is is_open


def test_a_proof_of_one_part_is_not_told_of_both(
    interrupted: tuple[Event, ...],  # noqa: F811
) -> None:
    same = {"protections": Protections(limit_in_on=True, guard=True, state_read_back=True)}
    first, point, cut, resumed, *rest = interrupted
    proved = ProtectionProved(**later(1), what="OFF opens the output", on_s=0.4)
    begun, again = (event.model_copy(update=same) for event in (first, resumed))
    lines = [*protection_lines(parts_of_run((begun, proved, point, cut, again, *rest)))]
    assert [line for line in lines if "OFF opens" in line] == [
        "part 1: seen to work with RF on: OFF opens the output"
    ]
