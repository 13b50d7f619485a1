"""A protection that data, command set or bench file of a record do not give is told."""

from collections.abc import Sequence
from typing import Any

import pytest

from ohmwright.engine.beginning_on_record import differing_beginnings
from ohmwright.model.event import DocumentKept, Event, RunStarted

from .conftest import Rig


@pytest.fixture
def job(whole_job: tuple[Rig, tuple[Event, ...]]) -> tuple[Event, ...]:
    return whole_job[1]


def claiming(events: Sequence[Event], **protections: bool) -> list[Event]:
    """The run as if it had been begun with these protections."""
    number = next(n for n, event in enumerate(events) if isinstance(event, RunStarted))
    started: Any = events[number]
    claimed = started.protections.model_copy(update=protections)
    begun = started.model_copy(update={"protections": claimed})
    return [*events[:number], begun, *events[number + 1 :]]


def without(events: Sequence[Event], role: str, line: str) -> list[Event]:
    """The run as if a line of a document were not in it."""

    def altered(event: Event) -> Event:
        if not isinstance(event, DocumentKept) or event.document.role != role:
            return event
        assert line in event.document.text
        text = event.document.text.replace(line, "")
        document = event.document.model_copy(update={"text": text})
        return event.model_copy(update={"document": document})

    return [altered(event) for event in events]


def test_the_protections_of_a_job_are_those_of_its_documents(job: Sequence[Event]) -> None:
    assert [*differing_beginnings(job)] == []


def test_a_single_shot_that_the_data_do_not_state_is_told(job: Sequence[Event]) -> None:
    ((_, said),) = differing_beginnings(claiming(job, single_shot=True))
    assert said == "the protection single_shot is recorded, and the kept documents do not give it"


@pytest.mark.parametrize(
    ("role", "line", "names"),
    [
        ("analyzer data", "max_limit_s = 60", {"limit_in_on", "limit_read_back"}),
        ("analyzer command set", 'load = "INPut:IMPedance?"', {"load_read_back"}),
        ("analyzer command set", 'path = "INPut:PATH?"', {"path_read_back"}),
    ],
)
def test_what_the_documents_do_not_give_is_told(
    role: str, line: str, names: set[str], job: Sequence[Event]
) -> None:
    found = {said.split()[2] for _, said in differing_beginnings(without(job, role, line))}
    assert found == names
