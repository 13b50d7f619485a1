"""Steps that a person or a file answers, and the unit that is at the bench."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.api.given_values_file import read_given_values
from ohmwright.engine.answers_on_record import differing_answers
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.engine.unit_identity import fits_plate, told_serial
from ohmwright.instruments.answer_requests import ChooseWord, TypeFigure, TypeText
from ohmwright.model.assignment import Assignment
from ohmwright.model.errors import ProcedureError, SourceError, WrongInstrument
from ohmwright.model.event import Asked, Fault, RunFinished, UnitIdentified
from ohmwright.model.given_values import GivenValues
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.tolerance import Target, at_least, at_most

pytestmark = pytest.mark.anyio
PROCEDURE = """
title = "t"
revision = "1"
model = "Quillon 300"

[[step]]
kind = "value"
name = "earth"
prompt = "Earth?"
quantity = "earth_resistance_ohm"
at_most = 0.2

[[step]]
kind = "choice"
name = "pedal"
prompt = "Pedal?"
choices = ["single", "none"]
passing = ["single"]

[[step]]
kind = "text"
name = "cords"
prompt = "Cords?"
"""
CSV = "step,value,stage\nearth,{},\npedal,2,as left\ncords,as new,\n"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = tmp_path / "p.toml"
    path.write_text(PROCEDURE, encoding="utf-8")
    return path


@pytest.fixture
def given(tmp_path: Path) -> Callable[[str], GivenValues]:
    def read(text: str) -> GivenValues:
        file = tmp_path / "v.csv"
        file.write_text(text, encoding="utf-8")
        return read_given_values(file)

    return read


async def events_of(
    rig: object, path: Path, assignment: Assignment, earlier: tuple = (), stages=("as_left",)
) -> list:
    job = Job(read_procedure(path), stages, "test", earlier, assignment=assignment)
    found: list = []
    try:
        async for event in run(job, rig.bench):
            found.append(event)
    except Exception as problem:
        found.append(problem)
    return found


async def test_a_person_answers_and_the_limits_decide(make_rig: Callable, path: Path) -> None:
    rig = make_rig(attended=True)
    answers = {"Earth?": ["x", "0,35 ohm"], "Pedal?": ["both", "2"], "Cords?": ["", "as new"]}
    rig.bench.operator.reply = _from(answers)
    found = await events_of(rig, path, Assignment())
    earth, pedal, cords = results(e for e in found if not isinstance(e, Exception))
    assert (earth.verdict, earth.said, earth.measured.value) == ("fail", "0.35", 0.35)
    assert earth.traceability == "another instrument"
    assert (pedal.verdict, pedal.said) == ("fail", "none")
    assert (cords.verdict, cords.reason) == ("pass", "as new")
    assert {r.readings_told_by for r in (earth, pedal, cords)} == {"simulated person"}
    assert answers == {"Earth?": [], "Pedal?": [], "Cords?": []}


def _from(answers: dict[str, list[str]]) -> Callable:
    async def reply(request: object, problem: str) -> str:
        return answers[request.text].pop(0)

    return reply


MEASURED_BY = """
[[step]]
kind = "choice"
name = "tester"
prompt = "Tester?"
choices = ["st-2 4711 due 2027-03-01", "none"]
passing = ["st-2 4711 due 2027-03-01"]

[[step]]
kind = "value"
name = "earth"
measured_by = "tester"
"""


@pytest.fixture
def path_with_tester(path: Path) -> Path:
    value = '\n[[step]]\nkind = "value"\nname = "earth"\n'
    path.write_text(PROCEDURE.replace(value, MEASURED_BY), encoding="utf-8")
    return path


async def test_the_instrument_of_a_figure_is_as_an_answer_before_named_it(
    make_rig: Callable, path_with_tester: Path
) -> None:
    rig = make_rig(attended=True)
    answers = {"Tester?": ["1"], "Earth?": ["0.1"], "Pedal?": ["1"], "Cords?": ["as new"]}
    rig.bench.operator.reply = _from(answers)
    found = await events_of(rig, path_with_tester, Assignment())
    assert {r.step: r.instrument for r in results(found)} == {
        "tester": "",
        "earth": "st-2 4711 due 2027-03-01",
        "pedal": "",
        "cords": "",
    }
    assert list(differing_answers(found)) == []
    forged = [
        e.model_copy(update={"result": e.result.model_copy(update={"instrument": "ST-3"})})
        if e.kind == "point_done" and e.result.step == "earth"
        else e
        for e in found
    ]
    ((_, said),) = differing_answers(forged)
    assert said == (
        "earth, answer: it is said to be measured by 'ST-3', which nobody answered before"
    )


LEAKAGE = """
[[step]]
kind = "value"
name = "leakage"
prompt = "Leakage?"
quantity = "earth_leakage_ua"
at_most = 500
measured_by = "{}"
"""


@pytest.fixture
def path_with_two_figures(path_with_tester: Path) -> Path:
    """The answer that names the instrument of the second one is not the last before it."""
    path_with_tester.write_text(path_with_tester.read_text() + LEAKAGE.format("tester"))
    return path_with_tester


async def test_an_instrument_is_named_for_its_stage_alone(
    make_rig: Callable, path_with_two_figures: Path
) -> None:
    """Another one may have been taken after the adjusting, though nobody said so."""
    rig = make_rig(attended=True)
    answers = {"Earth?": ["0.1", "0.1"], "Pedal?": ["1", "1"], "Cords?": ["new", "new"]}
    answers |= {"Tester?": ["1", "skip not here"], "Leakage?": ["20", "20"]}
    rig.bench.operator.reply = _from(answers)
    found = await events_of(
        rig, path_with_two_figures, Assignment(), stages=("as_found", "as_left")
    )
    named = {(r.stage, r.step): r.instrument for r in results(found) if r.instrument}
    tester = "st-2 4711 due 2027-03-01"
    assert named == {("as_found", "earth"): tester, ("as_found", "leakage"): tester}
    assert list(differing_answers(found)) == []
    forged = [
        e.model_copy(update={"result": e.result.model_copy(update={"instrument": tester})})
        if e.kind == "point_done" and (e.result.stage, e.result.step) == ("as_left", "earth")
        else e
        for e in found
    ]
    ((_, said),) = differing_answers(forged)
    assert said.startswith("earth, answer: it is said to be measured by")


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('measured_by = "tester"', 'measured_by = "tster"'),
        ('\n[[step]]\nkind = "text"', LEAKAGE.format("earth") + '\n[[step]]\nkind = "text"'),
        ('name = "tester"', 'name = "tester"\nstages = ["as_found"]'),
        ('measured_by = "tester"', 'measured_by = "cords"'),  # comes after it
    ],
)
def test_a_figure_whose_instrument_no_answer_before_names_is_refused(
    path_with_tester: Path, old: str, new: str
) -> None:
    text = path_with_tester.read_text(encoding="utf-8")
    path_with_tester.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(ProcedureError, match="stands before it in its stages"):
        read_procedure(path_with_tester)


async def test_a_file_answers_unattended(
    make_rig: Callable, path: Path, given: Callable[[str], GivenValues]
) -> None:
    found = await events_of(make_rig(), path, Assignment(given=given(CSV.format("0.08"))))
    assert isinstance(found[-1], RunFinished)
    assert not any(isinstance(event, Asked) for event in found)
    verdicts = {r.step: (r.verdict, r.said) for r in results(found)}
    assert verdicts == {
        "earth": ("pass", "0.08"),
        "pedal": ("fail", "none"),
        "cords": ("pass", "as new"),
    }
    assert {r.readings_told_by for r in results(found)} == {"unattended, from v.csv"}
    kept = {event.document.role for event in found if event.kind == "document_kept"}
    assert "given values" in kept


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("step,value\nearth,0.1\ncords,as new\n", "p.toml:14:1: step 'pedal': nobody is there"),
        (CSV.format("much"), "v.csv:2: 'much' is no figure"),
        (CSV.format("1 250.5"), "without a sign for thousands"),
        (CSV.format(">0.1"), "v.csv:2: '>0.1' cannot be held against"),
        (CSV.format("0.1") + "erth,1,\n", "v.csv:5: the procedure has no step 'erth'"),
    ],
)
async def test_what_is_missing_or_wrong_is_refused_before_anything(
    make_rig: Callable, path: Path, given: Callable[[str], GivenValues], text: str, said: str
) -> None:
    (refused,) = await events_of(make_rig(), path, Assignment(given=given(text)))
    assert isinstance(refused, ProcedureError)
    assert said in str(refused)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("step,worth\na,1\n", "v.csv:1: the columns"),
        ("step,value\na,1\na,2\n", "v.csv:3: step 'a' has a value already"),
        ("step,value,stage\na,1,before\n", "v.csv:2: there is no stage 'before'"),
        ("step,value\na,\n", "v.csv:2: a step and its value"),
        ("step,value,value\na,1,2\n", "v.csv:1: the columns must be .*, each once"),
        (f'step,value\na,1\nb,"{"x" * 140_000}\n', "v.csv:[0-9]+: this is no CSV"),
    ],
)
def test_a_file_that_gives_no_values_is_refused_by_its_line(
    given: Callable[[str], GivenValues], text: str, said: str
) -> None:
    with pytest.raises(SourceError, match=said):
        given(text)


@pytest.mark.parametrize(
    "text", ['{"a": "1", "a": "2"}', '[{"step": "a", "value": "1", "value": "2"}]']
)
def test_a_json_file_that_gives_a_value_twice_is_refused(tmp_path: Path, text: str) -> None:
    """The reader of JSON takes the last one without a word."""
    file = tmp_path / "v.json"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(SourceError, match="stands twice in one object"):
        read_given_values(file)


def test_a_figure_is_taken_in_its_unit_alone_and_a_bound_where_it_decides() -> None:
    earth = TypeFigure("?", at_most("earth_ohm", 0.2))
    assert [earth.answer(t) and earth.answer(t).word for t in ("0,08", "0.08 Ω", "<0.01")] == [
        "0.08",
        "0.08",
        "<0.01",
    ]
    assert [earth.answer(t) for t in ("0.08 mA", "-1", "1e3", "")] == [None] * 4
    insulation = TypeFigure("?", at_least("insulation_megohm", 20))
    assert insulation.answer("> 2000 Mohm").word == ">2000"
    assert ChooseWord("?", ("one", "two")).answer(" TWO ").word == "two"


def test_a_figure_in_another_unit_is_refused_for_the_unit_and_not_for_its_digits() -> None:
    earth = TypeFigure("?", at_most("earth_ohm", 0.2))
    assert earth.problem("150 mohm").startswith("'mohm' is not the unit asked for: type it in ohm")
    assert earth.problem("0.15 kohm").startswith("'kohm' is not the unit")
    assert "without a sign for thousands" in earth.problem("1.250.5")


async def test_a_figure_far_beyond_its_limit_is_asked_about_once(
    make_rig: Callable, path: Path
) -> None:
    """50 milliohm for a limit of 0.2 ohm was a fail without a word."""
    rig = make_rig(attended=True)
    sure = "50 ohm was typed, and the limit is 0.2 ohm. Does the instrument show 50 ohm?"
    rest = {"Pedal?": ["single"], "Cords?": ["-"]}
    for typed, said, verdict in ((["50", "0.05"], "no", "pass"), (["50"], "yes", "fail")):
        answers = {"Earth?": typed, sure: [said], **{key: [*words] for key, words in rest.items()}}
        rig.bench.operator.reply = _from(answers)
        found = await events_of(rig, path, Assignment())
        assert isinstance(found[-1], RunFinished)
        assert answers == {"Earth?": [], sure: [], "Pedal?": [], "Cords?": []}
        assert next(results(found)).verdict == verdict
        assert list(differing_answers(found)) == []


@pytest.mark.parametrize(
    ("target", "typed", "asked"),
    [
        (at_most("earth_ohm", 0.2), "2.1", True),
        (at_most("earth_ohm", 0.2), "1.9", False),
        (at_most("earth_ohm", 0.2), ">50", False),
        (at_most("earth_ohm", 0.2), "0", False),
        (at_least("insulation_megohm", 20), "1.9", True),
        (at_least("insulation_megohm", 20), "20000", False),
    ],
)
def test_only_a_figure_that_is_hardly_meant_is_asked_about(
    target: Target, typed: str, asked: bool
) -> None:
    assert (TypeFigure("?", target).to_be_sure(typed) is not None) == asked


@pytest.mark.parametrize("typed", ["50 mohm", "50 mΩ", ">50 mohm"])
def test_a_short_circuit_in_milliohm_is_no_insulation_of_megohms(typed: str) -> None:
    insulation = TypeFigure("?", at_least("insulation_megohm", 20))
    assert insulation.answer(typed) is None
    assert "in Mohm" in insulation.problem(typed)
    assert [insulation.answer(t).word for t in ("50 MOHM", "50 MΩ")] == ["50", "50"]


def test_an_amount_of_thousands_does_not_pass_as_a_small_one() -> None:
    """Earth leakage of 1,234 uA, as some meters write it, against a limit of 500 uA."""
    leakage = TypeFigure("?", at_most("earth_leakage_ua", 500.0))
    assert [leakage.answer(t) for t in ("1,234", "<1,234 uA", "12,500")] == [None] * 3
    assert "thousands" in leakage.problem("1,234")
    assert [leakage.answer(t).word for t in ("1234", "0,123", "1,23")] == ["1234", "0.123", "1.23"]


BOTH_LIMITS = Target(quantity="resistance_ohm", value=3.0, lower=2.0, upper=4.0)


@pytest.mark.parametrize(
    ("target", "typed", "taken"),
    [
        (at_least("insulation_megohm", 20), ">20", True),
        (at_least("insulation_megohm", 20), ">10", False),
        (at_least("insulation_megohm", 20), "<19", True),
        (at_least("insulation_megohm", 20), "<20", False),
        (at_most("earth_ohm", 0.2), "<0.2", True),
        (at_most("earth_ohm", 0.2), "<0.5", False),
        (at_most("earth_ohm", 0.2), ">2", True),
        (at_most("earth_ohm", 0.2), ">0.2", False),
        (BOTH_LIMITS, ">4.1", True),
        (BOTH_LIMITS, ">3", False),
        (BOTH_LIMITS, "<1.9", True),
        (BOTH_LIMITS, "<3", False),
    ],
)
def test_a_bound_is_taken_where_it_decides(target: Target, typed: str, taken: bool) -> None:
    """`>10` says nothing of a limit of 20: neither pass nor fail was seen."""
    request = TypeFigure("?", target)
    assert (request.answer(typed) is not None) == taken
    assert taken or "change the range" in request.problem(typed)


@pytest.mark.parametrize(("figure", "verdict"), [("<0.01", "pass"), (">2", "fail")])
async def test_a_bound_that_decides_has_its_verdict(
    make_rig: Callable, path: Path, given: Callable[[str], GivenValues], figure: str, verdict: str
) -> None:
    found = await events_of(make_rig(), path, Assignment(given=given(CSV.format(figure))))
    earth = next(each for each in results(found) if each.step == "earth")
    assert (earth.verdict, earth.said) == (verdict, figure)


@pytest.mark.parametrize("limit", [5e-6, 0.2, 2.5e6])
def test_a_simulated_person_types_no_exponent(limit: float) -> None:
    for target in (at_most("resistance_ohm", limit), at_least("resistance_ohm", limit)):
        request = TypeFigure("?", target)
        typed = request.typed(request.in_order)
        assert typed is not None
        assert target.lower <= typed.value <= target.upper


@pytest.mark.parametrize("words", ["Back panel scratched", "#12 is missing"])
def test_words_that_begin_as_an_order_are_told_to_do_so(words: str) -> None:
    request = TypeText("?")
    assert request.answer(words) is None
    assert "begins as an order" in request.problem(words)
    assert "200 characters" in request.problem("")


UNIT = RegisteredAsset(tag="HF-1", maker="T", model="Quillon 300", serial="S000003")


async def test_a_unit_says_its_own_serial_number(make_rig: Callable, path: Path) -> None:
    rig = make_rig(attended=True)
    found = await events_of(rig, path, Assignment(registered=UNIT))
    (known,) = (event for event in found if isinstance(event, UnitIdentified))
    assert known.told_by is None
    assert "S000003" in known.seen
    other = UNIT.model_copy(update={"serial": "S000004"})
    *kept, refused = await events_of(make_rig(attended=True), path, Assignment(registered=other))
    assert isinstance(refused, WrongInstrument)
    assert [type(event) for event in kept] == [Fault]


async def test_without_a_port_a_person_reads_the_plate_twice_at_most(
    make_rig: Callable, tmp_path: Path
) -> None:
    path = tmp_path / "p.toml"
    path.write_text(PROCEDURE.replace("Quillon 300", "Marlow 150"), encoding="utf-8")
    unit = UNIT.model_copy(update={"model": "Marlow 150", "serial": "TM1-00372"})
    plate = "Read the plate of the Marlow 150 at the bench: what is its serial number?"
    rest = {"Earth?": ["0.1"], "Pedal?": ["single"], "Cords?": ["-"]}
    unlike_the_plate = ["372", "skip unreadable", "back", "0373"]
    for said, known in (([*unlike_the_plate, "0372"], "0372"), (["0373", "00374"], None)):
        rig = make_rig(bench="attended", attended=True)
        rig.bench.operator.reply = _from({plate: said, **{k: [*v] for k, v in rest.items()}})
        found = await events_of(rig, path, Assignment(registered=unit))
        identified = [event for event in found if isinstance(event, UnitIdentified)]
        assert [event.seen for event in identified] == ([] if known is None else [known])
        assert isinstance(found[-1], RunFinished if known else WrongInstrument)
        assert "TM1-00372" not in plate


async def test_a_run_that_a_wrong_plate_ended_goes_on_with_the_right_unit(
    make_rig: Callable, tmp_path: Path
) -> None:
    path = tmp_path / "p.toml"
    path.write_text(PROCEDURE.replace("Quillon 300", "Marlow 150"), encoding="utf-8")
    unit = UNIT.model_copy(update={"model": "Marlow 150", "serial": "TM1-00372"})
    plate = "Read the plate of the Marlow 150 at the bench: what is its serial number?"
    assignment, earlier = Assignment(registered=unit), ()
    for said in (["0373", "0373"], ["0372"]):
        rig = make_rig(bench="attended", attended=True)
        answers = {plate: said, "Earth?": ["0.1"], "Pedal?": ["single"], "Cords?": ["-"]}
        rig.bench.operator.reply = _from(answers)
        found = await events_of(rig, path, assignment, earlier)
        earlier = tuple(event for event in found if not isinstance(event, Exception))
    assert isinstance(found[-1], RunFinished)
    assert [event.seen for event in found if isinstance(event, UnitIdentified)] == ["0372"]


def test_a_serial_number_is_found_in_an_identification_of_any_form() -> None:
    assert told_serial("T,Q,S1,1.0", "S2") == "S1"
    assert told_serial("T,Q,0,1.0", "S2") is None
    assert told_serial("Quillon no. S2 ready", "s2") == "s2"
    assert told_serial("Quillon ready", "S2") is None
    assert fits_plate("tm1 00372", "TM1 00372")
    assert not fits_plate("72", "TM1 00372")
