"""A record that its own budget, readings or kept documents contradict is told, with the place."""

from math import hypot
from typing import Any

import pytest

from ohmwright.engine.beginning_on_record import differing_beginnings
from ohmwright.engine.contradictions import quick_contradictions
from ohmwright.engine.figures_on_record import differing_figures
from ohmwright.engine.measured_value import measured_value
from ohmwright.engine.opening_events import SOFTWARE
from ohmwright.engine.people_on_record import differing_people
from ohmwright.estimation.settled_value import Settled
from ohmwright.model.bench_file import Asset
from ohmwright.model.document import Document, Role, digest_of
from ohmwright.model.event import (
    ActivationClosed,
    ActivationOpened,
    Asked,
    Commented,
    DocumentKept,
    Event,
    PointDone,
    TrimsStored,
    UnitIdentified,
)
from ohmwright.model.quantity import Quantity
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.result import BudgetEntry, Measured, Result, Sample
from ohmwright.model.step import Timing
from ohmwright.model.tolerance import Target
from ohmwright.model.traceability import Environment, Traceability
from ohmwright.uncertainty.inputs import coverage_factor
from tests.records.some_events import AT, started

BASIS = Traceability(
    certificate="C-7", laboratory="Fennel", calibrated_on="2025-08-01", due_on="2026-08-01"
)
FITTED = tuple(
    BudgetEntry(source=name, evaluation="A", standard_uncertainty=u, dof=dof)
    for name, u, dof in (("readings", 0.24, 20), ("lag, droop and hunting", 0.32, 20),
                         ("meter accuracy", 0.3, None))
)  # fmt: skip
"""The first two are one scatter of u 0.4: 0.5**4 / (0.4**4 / 20) = 48.8 degrees of freedom."""
ROOM = Environment(temperature_c=22.5, temperature_told_by="the bench file")
DAMP = {"humidity_percent": 3, "humidity_told_by": "the bench file"}
TEXTS: dict[Role, str] = {
    "procedure": (
        'title = "Quick check"\nrevision = "1"\n'
        '[[step]]\nname = "cut"\nmode = "cut"\nsetting_w = 100\nload_ohm = 500\n'
    ),
    "analyzer certificate": (
        'number = "C-7"\nlaboratory = "Fennel"\ncalibrated_on = 2025-08-01\ndue_on = 2026-08-01\n'
    ),
    "bench": (
        'name = "bench"\n[analyzer]\nidentity = "anal"\n[generator]\nidentity = "gen"\n'
        '[asset]\nid = "HF-1"\nmaker = "Maker"\nmodel = "Model"\nserial = "7"\n'
        "[environment]\ntemperature_c = 22.5\n"
    ),
}


def kept(role: Role, text: str) -> DocumentKept:
    one = Document(role=role, name=f"{role}.toml", sha256=digest_of(text), text=text)
    return DocumentKept(at=AT, bench_s=0.0, document=one)


def of(result: dict[str, Any], measured: dict[str, Any], begun: dict[str, Any]) -> list[Event]:
    """A run of one point, whose record is without contradiction but for what is given."""
    lines = tuple(
        BudgetEntry(source=name, evaluation="B", standard_uncertainty=u)
        for name, u in (("meter accuracy", 0.3), ("load resistance", 0.4))
    )
    value: dict[str, Any] = {
        "quantity": "power_w", "value": 98.0, "uncertainty": 0.5, "dof": 1e6, "age_s": 6.0,
        "expanded": 0.98, "coverage_factor": 1.959964, "budget": lines,
    }  # fmt: skip
    point: dict[str, Any] = {
        "stage": "as_left", "step": "cut", "point": "cut", "kind": "output", "verdict": "pass",
        "mode": "cut", "setting_w": 100.0, "load_ohm": 500.0, "traceability": BASIS,
        "samples": (Sample(6.0, 440.0),), "measured": Measured(**value | measured),
    }  # fmt: skip
    documents = [kept(role, text) for role, text in TEXTS.items()]
    asset = Asset(id="HF-1", maker="Maker", model="Model", serial="7")
    changed = {"asset": asset, "environment": ROOM, "traceability": BASIS} | begun
    changed["documents"] = tuple(one.document.ref for one in documents)
    changed.setdefault("procedure_digest", documents[0].document.sha256)
    first = started("a").model_copy(update=changed)
    return [first, *documents, PointDone(at=AT, bench_s=2.0, result=Result(**point | result))]


def test_a_record_without_contradiction_has_no_finding() -> None:
    assert list(differing_figures(of({}, {}, {}))) == []
    lines = {"correlation": 1.0, "uncertainty": 0.7, "expanded": 0.7 * 1.959964}
    assert list(differing_figures(of({}, lines, {}))) == []


@pytest.mark.parametrize("dof", [5.0, 8.0, 30.0, 1e6])
@pytest.mark.parametrize("quantity", ["power_w", "current_ma"])
def test_few_typed_readings_give_the_u_of_their_budget(dof: float, quantity: Quantity) -> None:
    """Monte Carlo draws their scatter from Student's t, which is wider than its scale.

    8 degrees of freedom, 2.150 and 2.415: a run with typed readings, whose u was 3.463.
    """
    few = Settled(440.0, hypot(2.150, 2.415), dof, 0.0, settled=True, scatter=2.150, dating=2.415)
    found = measured_value(few, quantity, 500.0, Timing(), None)
    assert found.propagation == "Monte Carlo"
    if (dof, quantity) == (8.0, "current_ma"):
        assert found.uncertainty == pytest.approx(3.463, rel=1e-3)
    assert list(differing_figures(of({}, found.model_dump(), {}))) == []
    other = found.model_dump() | {"uncertainty": 0.9 * found.uncertainty}
    ((_, said), *_) = differing_figures(of({}, other, {}))
    assert "and its budget makes it" in said


@pytest.mark.parametrize(
    ("result", "measured", "said"),
    [
        ({}, {"uncertainty": 0.25, "expanded": 0.49}, "u is 0.25, and its budget makes it 0.5"),
        ({}, {"expanded": 0.5}, "U is 0.5, and k u is 0.98"),
        ({}, {"expanded": 0.5, "coverage_factor": 1.0}, "k is 1.000, and its degrees of freedom"),
        ({}, {"budget": FITTED}, "degrees of freedom are 500, and its budget makes them 48.8"),
        ({"samples": (Sample(6.0, 300.0),)}, {}, "and its last reading 300 mA"),
        ({"traceability": BASIS.model_copy(update={"certificate": "X"})}, {}, "certificate X, due"),
        (
            {"traceability": BASIS.model_copy(update={"serial": "9"})},
            {},
            "for serial number 9, and the one kept",
        ),
        ({"setting_w": 90.0}, {}, "setting_w is 90.0, and the procedure kept"),
        ({"load_ohm": 400.0}, {}, "load_ohm is 400.0"),
        ({"mode": "coag"}, {}, "mode is coag"),
        (
            {"target": Target(quantity="current_ma", value=98.0, lower=90.0, upper=110.0)},
            {},
            "its value is a power_w, and its limits are of current_ma",
        ),
    ],
)
def test_a_result_against_its_record(
    result: dict[str, Any], measured: dict[str, Any], said: str
) -> None:
    ((number, found),) = differing_figures(of(result, measured, {}))
    assert (number, said in found) == (5, True), found


def test_no_more_degrees_of_freedom_than_readings_give_are_taken() -> None:
    """As many as readings, and 3 of the prior of their noise: more make a smaller k and U."""
    budget, k = {"budget": FITTED, "dof": 20 / 0.8**4}, coverage_factor(20 / 0.8**4, 0.95)
    figures = budget | {"coverage_factor": k, "expanded": k * 0.5}
    samples = tuple(Sample(0.3 * n, 440.0) for n in range(1, 18))
    for count, begun, told in (
        (17, SOFTWARE, []),
        (16, SOFTWARE, ["cut, cut: its scatter has 20 degrees of freedom, and its readings give at "
                        "most 19"]),
        (16, "ohmwright 0", []),
    ):  # fmt: skip
        events = of({"samples": samples[:count]}, figures, {"software": begun})
        assert [said for _, said in differing_figures(events)] == told


REGISTERED = RegisteredAsset(tag="HF-1", maker="Maker", model="Model", serial="7")


@pytest.mark.parametrize(
    ("begun", "said"),
    [
        ({"asset": Asset(id="HF-1", maker="Maker", model="Model", serial="8")}, "serial is 8"),
        ({"asset": Asset(id="HF-9", maker="Maker", model="Model", serial="7")}, "id is HF-9"),
        ({"environment": ROOM.model_copy(update={"temperature_c": 19.5})}, "temperature_c is 19.5"),
        ({"environment": None}, "temperature_c is not recorded"),
        (
            {"environment": ROOM.model_copy(update=DAMP)},
            "humidity_percent is 3 as told by the bench file, which says nothing",
        ),
        ({"bench": "another"}, "the bench is another"),
        ({"analyzer": "Q,7"}, "the analyzer says 'Q,7', without the 'anal'"),
        ({"generator": "Q,7"}, "the unit says 'Q,7', without the 'gen'"),
        ({"registered": REGISTERED, "generator": "M,Q,9,1.0"}, "and it says 'M,Q,9,1.0'"),
        ({"registered": REGISTERED.model_copy(update={"site": "Ward"})}, "unit's department is"),
        ({"procedure": "Another"}, "the procedure's title is Another"),
        ({"revision": "2"}, "the procedure's revision is 2"),
        ({"procedure_digest": "00"}, "the procedure's SHA-256 is 00"),
        ({"traceability": None}, "the analyzer's certificate is none"),
        ({"traceability": BASIS.model_copy(update={"laboratory": "X"})}, "certificate is C-7 of X"),
        ({"traceability": BASIS.model_copy(update={"serial": "9"})}, "for serial number 9, and"),
    ],
)
def test_a_beginning_against_what_is_kept_with_it(begun: dict[str, Any], said: str) -> None:
    events = of({}, {}, begun)
    ((number, found),) = differing_beginnings(events)
    assert (number, said in found) == (1, True), found
    assert (number, found) in list(quick_contradictions(events))


def test_a_simulated_run_is_not_recorded_as_real(monkeypatch: pytest.MonkeyPatch) -> None:
    assert list(differing_beginnings(of({}, {}, {}))) == []
    monkeypatch.setitem(TEXTS, "bench", f"{TEXTS['bench']}[simulation]\nseed = 1\n")
    ((_, found),) = differing_beginnings(of({}, {}, {}))
    assert "recorded as real" in found
    assert list(differing_beginnings(of({}, {}, {"seed": 1}))) == []


def test_a_unit_that_answered_otherwise_than_its_run_says_is_told() -> None:
    by_port = UnitIdentified(at=AT, bench_s=1.0, seen="generator of another")
    ((number, found),) = differing_beginnings([*of({}, {}, {}), by_port])
    assert (number, found) == (
        6, "the unit says 'generator of another', and the run 'generator'"
    )  # fmt: skip
    by_plate = by_port.model_copy(update={"told_by": "Áda"})
    assert list(differing_beginnings([*of({}, {}, {}), by_plate])) == []


@pytest.mark.parametrize(
    "named",
    [
        Asked(at=AT, bench_s=1.0, question="q", answer="yes", told_by="X"),
        Commented(at=AT, bench_s=1.0, words="w", told_by="X"),
        ActivationClosed(at=AT, bench_s=1.0, on_s=1.0, off_told_by="X"),
        ActivationOpened(at=AT, bench_s=1.0, load_ohm=100.0, limit_s=None, keyed_by="X"),
        TrimsStored(at=AT, bench_s=1.0, told_by="X"),
    ],
)
def test_an_event_that_names_somebody_else_than_the_operator_is_told(named: Event) -> None:
    told = (6, "it names X, and this part of the run was begun by Áda")
    events = [*of({}, {}, {}), named]
    assert list(differing_people(events)) == [told]
    assert told in list(quick_contradictions(events))
    assert list(differing_people([*of({}, {}, {"operator": "X"}), named])) == []


@pytest.mark.parametrize(
    "field", ["setting_told_by", "path_told_by", "load_told_by", "readings_told_by", "keyed_by"]
)
def test_a_result_that_names_somebody_else_is_told(field: str) -> None:
    (_,) = differing_people(of({field: "X"}, {}, {}))
    assert list(differing_people(of({field: "Áda, from values.csv"}, {}, {}))) == []
