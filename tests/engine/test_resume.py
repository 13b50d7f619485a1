"""A run that was cut short goes on with what it was begun with, and counts as one run."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from itertools import count

import pytest

from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import (
    bench_time_s,
    is_refused,
    on_time_s,
    results,
    split_at_resumptions,
    stored_moves,
)
from ohmwright.instruments.bench import Bench
from ohmwright.model.document import Document, digest_of
from ohmwright.model.errors import ActivationCutShort, UsageError
from ohmwright.model.event import (
    ActivationClosed,
    DocumentKept,
    Event,
    Fault,
    PointDone,
    RunFinished,
    RunResumed,
    RunStarted,
    ServiceLeft,
    TrimMoved,
    TrimsStored,
    UnaskedRf,
)
from ohmwright.model.shipped import shipped
from tests.records.some_events import point, started

from .conftest import SOME_POINTS

pytestmark = pytest.mark.anyio


async def first_part(bench: Bench, points: int = 3, **job: object) -> tuple[Event, ...]:
    """The events up to so many results."""
    kept: list[Event] = []
    async for event in run(Job(read_procedure(SOME_POINTS), ("as_found",), "test", **job), bench):  # type: ignore[arg-type]
        kept.append(event)
        if sum(isinstance(event, PointDone) for event in kept) == points:
            break
    return tuple(kept)


async def rest(bench: Bench, earlier: Sequence[Event]) -> list[Event]:
    job = Job(read_procedure(SOME_POINTS), ("as_found",), "test", tuple(earlier))
    return [event async for event in run(job, bench)]


def other_text(bench: Bench, role: str) -> Bench:
    def changed(one: Document) -> Document:
        if one.role != role:
            return one
        text = one.text + "# changed\n"
        return one.model_copy(update={"text": text, "sha256": digest_of(text)})

    return replace(bench, documents=tuple(map(changed, bench.documents)))


async def test_the_record_holds_everything_that_the_run_goes_by_once(make_rig: Callable) -> None:
    bench = make_rig().bench
    earlier = await first_part(bench)
    started = earlier[0]
    assert isinstance(started, RunStarted)
    kept = [event.document for event in earlier if isinstance(event, DocumentKept)]
    assert sorted(one.role for one in kept) == [
        "analyzer certificate",
        "analyzer command set",
        "analyzer data",
        "bench",
        "generator command set",
        "generator data",
        "procedure",
    ]
    assert started.documents == tuple(one.ref for one in kept)
    assert kept[0].text == SOME_POINTS.read_text(encoding="utf-8")
    assert kept[0].sha256 == started.procedure_digest

    again = await rest(other_text(make_rig().bench, "bench"), earlier)
    resumed = again[0]
    assert isinstance(resumed, RunResumed)
    added = [event.document for event in again if isinstance(event, DocumentKept)]
    assert [(one.role, one.text.endswith("# changed\n")) for one in added] == [("bench", True)]
    assert [a == b for a, b in zip(started.documents, resumed.documents, strict=True)] == [
        *(True, False),
        *[True] * 5,
    ]


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"id": "HF-018"}, "begun with asset 'HF-017'; now it is 'HF-018'"),
        ({"serial": "X1"}, "begun with serial number"),
        ({"model": "Quillon 200"}, "begun with model 'Quillon 300'"),
        ({"maker": "Sorrelworks"}, "begun with maker"),
    ],
)
async def test_another_unit_does_not_go_on_with_a_run(
    make_rig: Callable, changed: dict[str, str], words: str
) -> None:
    earlier = await first_part(make_rig().bench, points=1)
    rig = make_rig()
    other = replace(rig.bench, asset=rig.bench.asset.model_copy(update=changed))
    with pytest.raises(UsageError, match=words):
        await rest(other, earlier)
    assert rig.hardware.truth.rf_on_intervals == ()


@pytest.mark.parametrize(
    "role",
    ["analyzer data", "analyzer command set", "generator data", "generator command set"],
)
async def test_nor_another_command_set_or_other_hardware_data(
    make_rig: Callable, role: str
) -> None:
    earlier = await first_part(make_rig().bench, points=1)
    with pytest.raises(UsageError, match=f"begun with another text of: {role}"):
        await rest(other_text(make_rig().bench, role), earlier)


async def test_nor_another_bench_nor_another_procedure(make_rig: Callable) -> None:
    earlier = await first_part(make_rig().bench, points=1)
    with pytest.raises(UsageError, match="begun with bench 'Workshop bench 1'"):
        await rest(replace(make_rig().bench, name="Workshop bench 9"), earlier)
    file = read_procedure(SOME_POINTS)
    other = replace(file, document=file.document.model_copy(update={"sha256": "0" * 64}))
    with pytest.raises(UsageError, match="another text of the procedure"):
        async for _ in run(Job(other, ("as_found",), "test", earlier), make_rig().bench):
            pass


async def test_a_department_may_have_another_name_by_then(make_rig: Callable) -> None:
    earlier = await first_part(make_rig().bench, points=3)
    bench = make_rig().bench
    moved = replace(bench, asset=bench.asset.model_copy(update={"department": "Theatre 4"}))
    assert isinstance((await rest(moved, earlier))[-1], RunFinished)


async def test_a_record_without_documents_is_held_against_none(make_rig: Callable) -> None:
    bench = make_rig().bench
    earlier = await first_part(replace(bench, documents=()), points=3)
    old = earlier[0].model_copy(update={"documents": ()})
    kept = [event for event in earlier[1:] if not isinstance(event, DocumentKept)]
    again = await rest(make_rig().bench, (old, *kept))
    assert sum(isinstance(event, DocumentKept) for event in again) == 7


async def test_totals_are_of_the_whole_run(make_rig: Callable) -> None:
    earlier = await first_part(make_rig().bench)
    again = await rest(make_rig().bench, earlier)
    finished = again[-1]
    assert isinstance(finished, RunFinished)
    closed = [e.on_s for e in (*earlier, *again) if isinstance(e, ActivationClosed)]
    # those of the last part are counted up to where the release was read back
    assert sum(closed) - 1e-6 <= finished.on_s <= sum(closed) + 0.5 * len(closed)
    spans = sum(part[-1].bench_s - part[0].bench_s for part in (earlier, again))
    assert finished.bench_time_s == pytest.approx(spans, abs=1.0)
    assert earlier[-1].bench_s > 15


async def test_what_a_fault_ended_counts_too(make_rig: Callable) -> None:
    rig = make_rig()
    handle, left = rig.hardware.analyzer_port, 60

    def tripping(line: bytes) -> bytes:
        nonlocal left
        left -= line.startswith(b"FETCh:CURR") and rig.hardware.truth.rf_on
        if left == 0:
            handle(b"OUTP:STAT OFF\n")
        return handle(line)

    rig.bench.analyzer.dialogue.framing.link._handle = tripping
    events: list[Event] = []

    async def collect() -> None:
        async for event in run(Job(read_procedure(SOME_POINTS), ("as_found",), "test"), rig.bench):
            events.append(event)

    with pytest.raises(ActivationCutShort):
        await collect()
    fault = events[-1]
    assert isinstance(fault, Fault)
    assert fault.on_s is not None
    true_s = sum(off_s - on_s for on_s, off_s in rig.hardware.truth.rf_on_intervals)
    closed = [event.on_s for event in events if isinstance(event, ActivationClosed)]
    assert fault.on_s >= max(true_s, sum(closed))
    finished = (await rest(make_rig().bench, events))[-1]
    assert isinstance(finished, RunFinished)
    assert on_time_s(events) == fault.on_s
    assert finished.on_s > fault.on_s + 10


async def test_parts_begin_where_the_run_was_begun_or_resumed(make_rig: Callable) -> None:
    earlier = await first_part(make_rig().bench, points=1)
    whole = (*earlier, *await rest(make_rig().bench, earlier))
    first, second = split_at_resumptions(whole)
    assert (first, second) == (earlier, whole[len(earlier) :])
    assert bench_time_s(whole) == bench_time_s(first) + bench_time_s(second)
    assert tuple(split_at_resumptions(())) == ()


async def test_each_result_says_what_its_own_uncertainty_rests_on(make_rig: Callable) -> None:
    """The certificate was taken out of the bench before the run went on; then it was renewed."""
    bench = make_rig().bench
    first = await first_part(bench, points=1)
    second = await first_part(replace(make_rig().bench, certificate=None), 1, earlier=first)
    renewed = bench.certificate.model_copy(
        update={"number": "CAL-26-0007", "due_on": date(2027, 1, 1)}
    )
    third = await rest(replace(make_rig().bench, certificate=renewed), (*first, *second))
    rests_on = [r.traceability for r in results((*first, *second, *third))]
    numbers = [one if isinstance(one, str) else one.certificate for one in rests_on]
    assert numbers[:2] == ["CAL-25-1187", "none"]
    assert {n for n in numbers[2:] if n not in ("no scale", "not covered")} == {"CAL-26-0007"}
    for result in results((*first, *second, *third)):
        certified = any(line.source == "meter accuracy" for line in result.measured.budget)
        assert certified == (not isinstance(result.traceability, str))


def test_each_result_says_how_it_was_measured(whole_job: tuple) -> None:
    _, events = whole_job
    found = {(r.stage, r.step, r.point): r for r in results(events)}

    def of(stage: str, step: str, point: str) -> tuple[object, ...]:
        one = found[stage, step, point]
        return one.mode, one.setting_w, one.load_ohm, one.path

    assert of("as_found", "cut-full", "100 ohm") == ("cut", 310, 100, "OUTPUT")
    assert of("as_left", "cut-leakage", "leakage") == ("cut", 310, 200, "LEAKAGE")
    assert of("as_left", "blend-curves", "half 200 ohm") == ("blend", 95, 200, "OUTPUT")
    assert of("as_left", "cut-control", "50 W") == ("cut", 50, 500, "OUTPUT")
    assert of("as_left", "coag-waveform", "crest factor")[:2] == ("coag", 105)
    adjusted = [r for r in found.values() if r.stage == "adjust"]
    assert {(r.mode, r.setting_w, r.path) for r in adjusted} == {
        ("cut", None, "OUTPUT"),
        ("coag", None, "OUTPUT"),
    }
    contact = [r for r in found.values() if r.kind == "contact_quality"]
    assert {(r.path, r.traceability) for r in contact} == {("CQUALITY", "not covered")}
    assert all(r.path is not None and r.traceability is not None for r in found.values())


async def test_what_a_person_set_by_hand_is_as_that_person_told(make_rig: Callable) -> None:
    rig = make_rig(seed=5, age_months=0, bench="attended", attended=True)
    by_hand = await rig.run(shipped("procedures", "attended-marlow.toml"), ("as_left",))
    told = {r.setting_told_by for r in results(by_hand) if r.mode is not None}
    assert told == {rig.bench.operator.name}
    by_port = await first_part(make_rig().bench, points=1)
    assert {r.setting_told_by for r in results(by_port)} == {None}


def test_rf_that_nobody_asked_for_counts_in_a_part_that_was_killed() -> None:
    """Would notice "RF on for at most" below the truth once such a run is resumed."""
    at = datetime(2026, 1, 5, tzinfo=UTC)
    part = (
        UnaskedRf(at=at, bench_s=5, seen="40 mA", on_s=2.5),
        UnaskedRf(at=at, bench_s=9, seen="40 mA"),
        ActivationClosed(at=at, bench_s=30, on_s=6.0),
    )
    assert on_time_s(part) == 8.5


@pytest.mark.parametrize(
    ("kinds", "stored"),
    [
        ("move store move store", [1, 2]),
        ("move leave move store", [2]),
        ("move resume move store", [2]),
        ("move store move", [1]),
    ],
)
def test_a_move_is_kept_once_and_only_where_it_was_stored(kinds: str, stored: list[int]) -> None:
    """What was moved and not stored is undone by leaving service mode, and by an interruption."""
    stamp, moves = {"at": datetime(2026, 1, 5, tzinfo=UTC), "bench_s": 1.0}, count(1)
    make: dict[str, Callable[[], Event]] = {
        "move": lambda: TrimMoved(**stamp, point="p", counts=next(moves)),
        "store": lambda: TrimsStored(**stamp),
        "leave": lambda: ServiceLeft(**stamp, point="p"),
        "resume": lambda: RunResumed(**stamp, operator="Ada Fell", done=0),
    }
    assert [one.counts for one in stored_moves(make[kind]() for kind in kinds.split())] == stored


def test_time_at_the_bench_counts_from_the_begin_of_each_part() -> None:
    """Whatever the clock of the bench shows then, as the time since the computer was begun."""
    at = datetime(2026, 1, 5, tzinfo=UTC)
    parts = (
        *(ServiceLeft(at=at, bench_s=bench_s, point="p") for bench_s in (5000.0, 5030.0)),
        RunResumed(at=at, bench_s=100.0, operator="Ada Fell", done=0),
        ServiceLeft(at=at, bench_s=107.0, point="p"),
    )
    assert bench_time_s(parts) == 37.0


def test_a_refused_attempt_to_go_on_ends_no_run_that_has_a_result() -> None:
    begun, done = started("r"), point()
    refused = Fault(
        at=begun.at, bench_s=3.0, error="WrongInstrument", message="Another.", rf_state="off"
    )
    assert is_refused((begun, refused))
    assert not is_refused((begun, done, refused))
