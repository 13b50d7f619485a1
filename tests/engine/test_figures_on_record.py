"""A record that its own budget, readings or kept documents contradict is told, with the place."""

from typing import Any

import pytest

from ohmwright.engine.figures_on_record import differing_figures
from ohmwright.model.bench_file import Asset
from ohmwright.model.document import Document, Role, digest_of
from ohmwright.model.event import DocumentKept, Event, PointDone
from ohmwright.model.result import BudgetEntry, Measured, Result, Sample
from ohmwright.model.traceability import Environment, Traceability
from tests.records.some_events import AT, started

BASIS = Traceability(
    certificate="C-7", laboratory="Fennel", calibrated_on="2025-08-01", due_on="2026-08-01"
)
ROOM = Environment(temperature_c=22.5, temperature_told_by="the bench file")
TEXTS: dict[Role, str] = {
    "procedure": '[[step]]\nname = "cut"\nmode = "cut"\nsetting_w = 100\nload_ohm = 500\n',
    "analyzer certificate": (
        'number = "C-7"\nlaboratory = "Fennel"\ncalibrated_on = 2025-08-01\ndue_on = 2026-08-01\n'
    ),
    "bench": '[asset]\nmodel = "Model"\nserial = "7"\n[environment]\ntemperature_c = 22.5\n',
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
    changed = {"asset": asset, "environment": ROOM} | begun
    changed["documents"] = tuple(one.document.ref for one in documents)
    first = started("a").model_copy(update=changed)
    return [first, *documents, PointDone(at=AT, bench_s=2.0, result=Result(**point | result))]


def test_a_record_without_contradiction_has_no_finding() -> None:
    assert list(differing_figures(of({}, {}, {}))) == []
    lines = {"correlation": 1.0, "uncertainty": 0.7, "expanded": 0.7 * 1.959964}
    assert list(differing_figures(of({}, lines, {}))) == []


@pytest.mark.parametrize(
    ("result", "measured", "said"),
    [
        ({}, {"uncertainty": 0.25, "expanded": 0.49}, "u is 0.25, and its budget makes it 0.5"),
        ({}, {"expanded": 0.5}, "U is 0.5, and k u is 0.98"),
        ({}, {"expanded": 0.5, "coverage_factor": 1.0}, "k is 1.000, and its degrees of freedom"),
        ({"samples": (Sample(6.0, 300.0),)}, {}, "and its last reading 300 mA"),
        ({"traceability": BASIS.model_copy(update={"certificate": "X"})}, {}, "certificate X, due"),
        ({"setting_w": 90.0}, {}, "setting_w is 90.0, and the procedure kept"),
        ({"load_ohm": 400.0}, {}, "load_ohm is 400.0"),
        ({"mode": "coag"}, {}, "mode is coag"),
    ],
)
def test_a_result_against_its_record(
    result: dict[str, Any], measured: dict[str, Any], said: str
) -> None:
    ((number, found),) = differing_figures(of(result, measured, {}))
    assert (number, said in found) == (5, True), found


@pytest.mark.parametrize(
    ("begun", "said"),
    [
        ({"asset": Asset(id="HF-1", maker="M", model="Model", serial="8")}, "serial is 8"),
        ({"environment": ROOM.model_copy(update={"temperature_c": 19.5})}, "temperature_c is 19.5"),
    ],
)
def test_a_beginning_against_the_bench_kept_with_it(begun: dict[str, Any], said: str) -> None:
    ((number, found),) = differing_figures(of({}, {}, begun))
    assert (number, said in found) == (1, True), found


def test_a_simulated_run_is_not_recorded_as_real(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(TEXTS, "bench", "[simulation]\nseed = 1\n")
    ((_, found),) = differing_figures(of({}, {}, {}))
    assert "recorded as real" in found
    assert list(differing_figures(of({}, {}, {"seed": 1}))) == []
