"""Approvals, amendments and voids: signed, chained, carried along, and nothing is deleted."""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from functools import partial
from pathlib import Path

import pytest
from sqlalchemy import text

from ohmwright.engine.judge import conformity
from ohmwright.model.document import document
from ohmwright.model.errors import RecordError, UsageError
from ohmwright.model.event import DocumentKept, PointDone
from ohmwright.model.paper import Authorised, Authority, PaperChange, PaperData, Party
from ohmwright.model.result import Conformity, TraceabilityBasis, Verdict
from ohmwright.model.tolerance import NO_UPPER_LIMIT, Target
from ohmwright.records.add_addendum import Wanted, add_addendum
from ohmwright.records.addendum import Addendum
from ohmwright.records.audit import audit
from ohmwright.records.chain import BrokenRunError, StoredRun, verified_events
from ohmwright.records.json_lines import DamagedFileError, read_runs, run_lines
from ohmwright.records.ledger import add_entry
from ohmwright.records.qualified import (
    Qualified,
    qualified_assets,
    qualified_points,
    qualified_runs,
)
from ohmwright.records.queries import (
    creep_values,
    fetch_rows,
    history,
    last_seen,
    pass_rates,
    population,
    reported_results,
    results,
    void_runs,
    with_verdict,
)
from ohmwright.records.run_import import import_run
from ohmwright.records.run_lists import runs
from ohmwright.records.seal import Seal
from ohmwright.records.signed_contents import signatures
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.summaries import rebuild_summary_tables
from ohmwright.records.trust import TrustedKeys, signers, untrusted_signers
from ohmwright.records.verdict_audit import audit_verdicts

from .some_events import AT, EXPIRED, finished, point, started, uncovered_run, whole_run

PAPER = PaperData(laboratory=Party(name="Fennel Metrology", address=("2 Quay", "Orle")))


PROCEDURE = """\
title = "Quick check"
revision = "1"
model = "Model ä 'x'"

[[step]]
kind = "power_curve"
name = "cut"
mode = "cut"
setting_w = 80
loads_ohm = [100]
power_w = [{}]
tolerance = {{ percent = 5 }}
"""


def add(store: SqlStore, what: str, run: str = "a", **said: object) -> Addendum:
    wanted = {"what": what, "operator": "B. Tarn", "reason": "wrong unit"} | said
    return add_addendum(store, run, Wanted(**wanted))  # type: ignore[arg-type]


def lines_of(store: SqlStore, run: str = "a") -> list[bytes]:
    return [line + b"\n" for line in run_lines(store.stored_run(run))]


def take_in(store: SqlStore, lines: list[bytes]) -> list[str]:
    return [import_run(store, run, events) for run, events in read_runs(lines, "file")]


@pytest.fixture
def filled(store: SqlStore) -> SqlStore:
    store.append_all("a", whole_run("a"))
    store.append_all("b", whole_run("b", "HF-2"))
    return store


def test_neither_a_sweep_nor_a_void_run_is_foretold_from_or_a_unit_s_newest(
    filled: SqlStore,
) -> None:
    sweep = started("swept").model_copy(update={"procedure": "Curve", "work": "sweep"})
    filled.append("swept", sweep)
    assert len(fetch_rows(filled.database, creep_values(False))) == 4
    add(filled, "voided")
    assert [row.run_id for row in fetch_rows(filled.database, last_seen())] == ["b"]
    assert {row.asset for row in fetch_rows(filled.database, creep_values(False))} == {"HF-2"}
    day = timedelta(days=1)
    reported = fetch_rows(filled.database, reported_results(False, AT - day, AT + day))
    assert {row.run_id for row in reported} == {"b"}
    for kind, since in ((False, AT - day), (True, AT - day), (False, AT + day)):
        found = fetch_rows(filled.database, void_runs(kind, since, AT + 2 * day))
        assert [row.run_id for row in found] == (
            ["a"] if (kind, since) == (False, AT - day) else []
        )
    assert list(audit(filled)) == []


def test_a_failure_measured_again_in_its_run_is_none_of_earlier_ones(store: SqlStore) -> None:
    def found(verdict: Verdict, name: str = "100 ohm") -> PointDone:
        done = point(name, verdict)
        return done.model_copy(
            update={"result": done.result.model_copy(update={"stage": "as_found"})}
        )

    again = (started("a"), found("fail"), found("pass"), found("fail", "500 ohm"), finished())
    store.append_all("a", again)
    day = timedelta(days=1)
    reported = fetch_rows(store.database, reported_results(False, AT + day, AT + 2 * day))
    assert [(row.point, row.verdict) for row in reported] == [("500 ohm", "fail")]


@pytest.mark.parametrize(
    ("basis", "uncovered", "past_due"),
    [
        ("none", True, False),
        ("not covered", True, False),
        ("no scale", False, False),
        (None, False, False),
        (EXPIRED, False, True),
        (EXPIRED.model_copy(update={"expired": False}), False, False),
    ],
)
def test_values_that_no_certificate_covers_are_told(
    store: SqlStore, basis: TraceabilityBasis, *, uncovered: bool, past_due: bool
) -> None:
    store.append_all("a", uncovered_run(basis))
    store.append_all("b", whole_run("b", "HF-2"))
    day = timedelta(days=1)
    reported = fetch_rows(store.database, reported_results(False, AT - day, AT + day))
    of_run = {
        (row.uncovered, row.past_due)
        for row in reported
        if row.run_id == "a" and row.value is not None
    }
    assert of_run == {(uncovered, past_due)}
    others = [row for row in reported if row.run_id == "b" or row.value is None]
    assert not any(row.uncovered or row.past_due for row in others)
    numbers = [row["number"] for row in runs(store.database)]
    number = numbers[0]

    def kept(key: object) -> Qualified[object]:
        one = frozenset([key])
        return Qualified(one if uncovered else frozenset(), one if past_due else frozenset())

    assert qualified_runs(store.database, numbers) == kept(number)
    assert qualified_runs(store.database, numbers[1:]) == Qualified()
    of = partial(qualified_assets, store.database, simulated=False)
    assert of(["HF-1", "HF-2"]) == kept("HF-1")
    assert of(["HF-2"]) == Qualified()
    points = partial(qualified_points, store.database, simulated=False)
    assert points(AT + day) == kept(("HF-1", "cut", "100 ohm"))
    assert points(AT - day) == Qualified()
    assert qualified_points(store.database, AT + day, simulated=True) == Qualified()
    add(store, "voided")
    assert points(AT + day) == Qualified()
    assert of(["HF-1"]) == Qualified()


def test_a_value_that_must_only_be_at_least_a_limit_is_not_foretold_from(store: SqlStore) -> None:
    target = Target(quantity="value", value=2.0, lower=2.0, upper=NO_UPPER_LIMIT)
    store.append_all(
        "a",
        [
            event.model_copy(update={"result": event.result.model_copy(update={"target": target})})
            if isinstance(event, PointDone)
            else event
            for event in whole_run("a")
        ],
    )
    assert fetch_rows(store.database, history("HF-1", "cut", "100 ohm")) != []
    assert fetch_rows(store.database, creep_values(False)) == []


def counts(store: SqlStore) -> tuple[list[int], list[str], int]:
    rates = [row.results for row in fetch_rows(store.database, pass_rates())]
    newest = [row.run_id for row in fetch_rows(store.database, last_seen())]
    of_unit = len(fetch_rows(store.database, history("HF-1", "cut", "100 ohm")))
    return rates, newest, of_unit


def units_listed(store: SqlStore) -> tuple[set[str], set[str]]:
    """The units whose results are listed by their point, and by their verdict."""
    of_point = population("Model ä 'x'", "cut", "100 ohm", "as_left")
    lists = (of_point, with_verdict("pass", AT))
    by_point, by_verdict = ({row.asset for row in fetch_rows(store.database, q)} for q in lists)
    return by_point, by_verdict


def test_a_void_run_stays_and_counts_no_more_until_it_is_reinstated(filled: SqlStore) -> None:
    events = filled.events("a")
    assert counts(filled) == ([2, 2], ["a", "b"], 1)
    assert units_listed(filled) == ({"HF-1", "HF-2"}, {"HF-1", "HF-2"})
    add(filled, "voided")
    assert counts(filled) == ([1, 1], ["b"], 0)
    assert units_listed(filled) == ({"HF-2"}, {"HF-2"})
    assert filled.events("a") == events
    assert [row["voided"] for row in runs(filled.database)] == [True, False]
    assert [row["voided"] for row in results(filled.database)] == [True, True, False, False]
    assert filled.voided_run_ids() == {"a"}
    assert list(audit(filled)) == []
    with filled.database.write() as connection:
        rebuild_summary_tables(connection)
    assert counts(filled) == ([1, 1], ["b"], 0)
    add(filled, "voided", "b")
    assert counts(filled)[:2] == ([], [])
    add(filled, "reinstated", "a", reason="the right unit after all")
    assert counts(filled) == ([1, 1], ["a"], 1)
    assert list(audit(filled)) == []


def test_what_makes_no_sense_is_refused(filled: SqlStore) -> None:
    filled.append_all("open", [started("open"), point()])
    tried = (
        ("reinstated", {}, "not void"),
        ("amended", {"reason": " "}, "No reason"),
        ("approved", {"run": "open"}, "not finished"),
        ("voided", {"run": "none"}, "no run 'none'"),
        ("approved", {}, None),
        ("approved", {}, "approved already"),
        ("voided", {}, None),
        ("voided", {}, "is void"),
        ("approved", {}, "is void"),
    )
    for what, said, words in tried:
        if words is None:
            add(filled, what)
            continue
        with pytest.raises(UsageError, match=words):
            add(filled, what, **said)
    assert list(audit(filled)) == []


def test_a_second_key_and_a_new_issue_may_be_approved(
    filled: SqlStore, place: str, opened: Callable[..., SqlStore]
) -> None:
    add(filled, "approved", paper=PAPER)
    other = opened(place, "other computer")
    add(other, "approved")
    add(filled, "amended", reason="address of the customer")
    add(filled, "approved")
    kept = filled.stored_run("a").addenda
    assert [one.statement.what for one in kept] == ["approved", "approved", "amended", "approved"]
    assert len({one.statement.key for one in kept}) == 2
    assert kept[0].statement.paper == PAPER
    assert list(audit(filled)) == []


def test_a_run_that_was_cut_short_can_be_voided_and_not_resumed(
    filled: SqlStore, place: str, opened: Callable[..., SqlStore]
) -> None:
    filled.append_all("open", [started("open"), point()])
    with filled.database.write() as connection:
        connection.execute(text("UPDATE leases SET host = 'another', holder = 'Eve'"))
    with pytest.raises(UsageError, match="in the hands of Eve"):
        add(filled, "voided", "open")
    with filled.database.write() as connection:
        connection.execute(text("DELETE FROM leases"))
    filled.close()
    again = opened(place)
    add(again, "voided", "open")
    with pytest.raises(UsageError, match="it is void"):
        again.claim("open")
    assert list(audit(again)) == []


def test_addenda_go_along_and_only_a_longer_chain_is_taken(
    filled: SqlStore, opened: Callable[..., SqlStore], tmp_path: Path
) -> None:
    elsewhere = opened(str(tmp_path / "elsewhere"), "there")
    add(filled, "approved", paper=PAPER)
    assert take_in(elsewhere, lines_of(filled)) == ["new"]
    add(filled, "voided")
    assert take_in(elsewhere, lines_of(filled) + lines_of(filled, "b")) == ["longer", "new"]
    assert take_in(elsewhere, lines_of(filled)) == ["there already"]
    assert elsewhere.voided_run_ids() == {"a"}
    assert lines_of(elsewhere) == lines_of(filled)
    add(elsewhere, "reinstated")
    add(filled, "reinstated", reason="another reason")
    with pytest.raises(UsageError, match="addendum 3"):
        take_in(elsewhere, lines_of(filled))
    assert list(audit(elsewhere)) == []


def test_an_altered_or_missing_addendum_is_found(filled: SqlStore) -> None:
    add(filled, "approved")
    add(filled, "voided")
    run = filled.stored_run("a")
    first, second = run.addenda
    forged = second.statement.model_copy(update={"reason": "none"})
    elsewhere = second.statement.model_copy(update={"head": "0" * 64})
    resigned = replace_signature(filled, elsewhere)
    for addenda, words in (
        ((first, second.model_copy(update={"statement": forged})), "does not fit"),
        ((second,), "out of place"),
        ((second, first), "out of place"),
        ((first, resigned), "another end"),
    ):
        with pytest.raises(BrokenRunError, match=words):
            verified_events(replace(run, addenda=addenda))
    lines = lines_of(filled)
    del lines[-2]
    with pytest.raises(DamagedFileError, match="out of place"):
        list(read_runs(lines, "file"))
    spoilt = lines_of(filled)
    document = json.loads(spoilt[-1])
    del document["addendum"]["statement"]["head"]
    spoilt[-1] = json.dumps(document, sort_keys=True, separators=(",", ":")).encode()
    with pytest.raises(DamagedFileError, match="addendum is damaged"):
        list(read_runs(spoilt, "file"))


def replace_signature(store: SqlStore, statement: object) -> Addendum:
    signature = store.key.sign(statement.signed_bytes())  # type: ignore[attr-defined]
    return Addendum(statement=statement, signature=signature)  # type: ignore[arg-type]


def test_an_addendum_changed_in_the_store_is_found(filled: SqlStore) -> None:
    if not filled.database.is_sqlite:
        return
    add(filled, "voided")
    with filled.database.write() as connection:
        connection.execute(text("DROP TRIGGER ledger_no_update"))
        connection.execute(text("UPDATE ledger SET what = 'reinstated' WHERE what = 'voided'"))
    said = " ".join(map(str, audit(filled)))
    assert "ledger is missing, altered or out of place" in said
    assert "of another kind than its entry" in said
    assert "table of tallies" in said


def test_a_void_or_reinstatement_that_nobody_signed_is_found(filled: SqlStore) -> None:
    add(filled, "voided", "b")
    for run, number, what in (("a", 1, "voided"), ("b", 2, "reinstated")):
        with filled.database.write() as connection:  # as whoever may only add rows can
            add_entry(connection, what, number, {"run": run})  # type: ignore[arg-type]
    assert filled.voided_run_ids() == {"a"}
    assert [str(finding) for finding in audit(filled)] == [
        "run a: the ledger says that it was voided, which nobody signed",
        "run b: the ledger says that it was reinstated, which nobody signed",
    ]


def test_what_a_strange_key_signed_of_each_run_is_told(filled: SqlStore, tmp_path: Path) -> None:
    add(filled, "voided", "b")
    said = signers(signatures(filled.database))
    (found,) = untrusted_signers(said, TrustedKeys(tmp_path / "trusted"))
    assert found.what.endswith("it signed 2 runs: a (sealed), b (sealed, voided)")


def test_one_damaged_entry_hides_no_other_signature(filled: SqlStore) -> None:
    if not filled.database.is_sqlite:
        return
    add(filled, "voided", "b")
    with filled.database.write() as connection:
        connection.execute(text("DROP TRIGGER ledger_no_update"))
        connection.execute(text("UPDATE ledger SET document = x'7b' WHERE number = 2"))
    seal, addendum = signatures(filled.database)
    assert isinstance(seal, Seal)
    assert (seal.statement.run, addendum.statement.operator) == ("b", "B. Tarn")
    assert "seal is damaged" in " ".join(map(str, audit(filled)))


def test_a_run_is_void_by_the_ledger_alone(filled: SqlStore) -> None:
    add(filled, "voided")
    with pytest.raises(RecordError), filled.database.write() as connection:
        connection.execute(text("DELETE FROM voided_runs"))  # which a list would have believed
    assert [row["voided"] for row in runs(filled.database)] == [True, False]
    assert filled.voided_run_ids() == {"a"}
    assert list(audit(filled)) == []


def test_a_run_without_addenda_is_exported_as_before(filled: SqlStore) -> None:
    last = json.loads(lines_of(filled)[-1])
    assert list(last) == ["seal"]
    run = filled.stored_run("a")
    assert run == StoredRun(run.run_id, run.opening, run.events, run.seal)


# made by the first version of this format, with the key of the seed b"ohmwright" * 3 + b"test!"
OF_THE_FIRST_VERSION = {
    "signature": "45d9f6e2b96f6dcd5e3380f8c596720adc6d90062927704cc7d67ceccd302c0a"
    "c37723b268d679f3f390c086edcc9213de0979cd295778cd594b28695872c409",
    "statement": {
        "after": "",
        "head": "0f" * 32,
        "key": "51d16ddcd4aa8bcf60e3d2d9a81a747db3d69339a96d970030c9a711c80e2d74",
        "number": 1,
        "operator": "A. Fenn",
        "paper": {
            "laboratory": {"address": ["2 Quay", "Orle"], "name": "Fennel Metrology"},
            "place": "laboratory",
            "received_on": "2026-03-01",
        },
        "run": "a",
        "signed_at": "2026-03-02T09:30:00Z",
        "what": "approved",
    },
}


def test_an_addendum_of_the_first_version_still_holds() -> None:
    """A field that a later version adds has a default, which is no part of what is signed."""
    one = Addendum.model_validate(OF_THE_FIRST_VERSION)
    assert one.is_valid()
    assert one.document() == OF_THE_FIRST_VERSION
    assert one.digest == "31f7b9ffe255d603848708a37c593056ef179bf24eb70f2a109cc66ce9e3eaca"


def test_who_may_is_what_the_record_named_and_an_amendment_says_what_changed(
    filled: SqlStore,
) -> None:
    listed = (Authorised(name="A. Fenn"), Authorised(name="B. Tarn", may=("void",)))
    by_name = Authority(laboratory="Fennel", by="name", authorised=listed)
    add(filled, "approved", operator="A. Fenn", authority=by_name, paper=PAPER)
    changed = PAPER.model_copy(update={"place": "customer"})
    amended = add(filled, "amended", operator="A. Fenn", paper=changed)
    assert amended.statement.changes == (PaperChange(field="place", old="nothing", new="customer"),)
    assert list(audit(filled)) == []
    wider = Authority(laboratory="Fennel", by="name", authorised=(Authorised(name="C. Wex"),))
    add(filled, "voided", operator="C. Wex", authority=wider)  # by an altered program
    (found,) = audit(filled)
    assert "is by C. Wex, and the record names who may void: A. Fenn, B. Tarn" in found.what


def test_a_verdict_against_the_values_on_record_is_found(store: SqlStore) -> None:
    events = list(whole_run("a"))
    at = next(n for n, event in enumerate(events) if isinstance(event, PointDone))
    wrong = {"pass": "fail", "fail": "pass"}[events[at].result.verdict]
    forged = events[at].result.model_copy(update={"verdict": wrong})
    events[at] = events[at].model_copy(update={"result": forged})
    store.append_all("a", tuple(events))
    said = [one.what for one in audit(store, more=[audit_verdicts])]
    assert f"is recorded as {wrong}; its figures on record make it" in said[0]


def test_a_rule_of_another_package_is_named_and_a_pass_beyond_what_it_accepts_found() -> None:
    how = Conformity(rule="house rule", probability=0.9, accept_from=79.0, accept_to=81.0)
    done = point(value=81.5)
    result = done.result.model_copy(update={"conformity": how})
    events = [done.model_copy(update={"result": result})]
    beyond, unknown = audit_verdicts("a", events)
    assert (beyond.kind, unknown.kind) == ("wrong", "warning")
    assert "81.5 is not among those accepted on record" in beyond.what
    assert "by the rule 'house rule', of another package, were not decided" in unknown.what


def test_limits_other_than_those_of_the_procedure_kept_are_found() -> None:
    def said(power_w: float) -> list[tuple[str, str]]:
        kept = document("procedure", Path("quick.toml"), PROCEDURE.format(power_w))
        told = {"documents": (kept.ref,), "procedure_digest": kept.sha256}
        begun = started("a").model_copy(update=told)
        events = (begun, DocumentKept(at=AT, bench_s=0.0, document=kept), decided, finished())
        return [(one.kind, one.what) for one in audit_verdicts("a", events)]

    result = point().result
    how = conformity(result.measured, result.target)
    decided = PointDone(at=AT, bench_s=2.0, result=result.model_copy(update={"conformity": how}))
    assert said(80) == []
    ((kind, what),) = said(70)
    assert kind == "wrong"
    assert "is recorded with limits of 76 to 84 W; the procedure kept with it states" in what
    assert "limits of 66.5 to 73.5 W" in what
    ((kind, what),) = said(-1)
    assert (kind, "'quick.toml', which is not understood" in what) == ("warning", True)
