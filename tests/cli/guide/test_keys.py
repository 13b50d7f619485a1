"""The tables of the guide name every key that a file may have, with its default, and no other."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal, get_args, get_origin

import pytest
from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from ohmwright.api.sweep_plan import Sweep
from ohmwright.engine.procedure import Procedure
from ohmwright.engine.steps import Step, step_kinds
from ohmwright.engine.steps.base import TimedStep
from ohmwright.instruments import required_messages
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.bench_file import BenchFile
from ohmwright.model.decision import OwnRule
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.paper import LaboratoryFile
from ohmwright.model.protections import Protections
from ohmwright.wire.command_set import Ask, CommandSet, Tell

FILES = (
    Procedure,
    BenchFile,
    AnalyzerData,
    GeneratorData,
    AnalyzerCertificate,
    CommandSet,
    Sweep,
    LaboratoryFile,
)
TABLES: dict[str, tuple[str, str]] = {
    "Procedure": ("procedures", "procedure"),
    "Timing": ("procedures", "[defaults]"),
    "Allowance": ("procedures", "allowance"),
    "TwoSided": ("procedures", "two sides"),
    "BenchFile": ("benches", "bench"),
    "AnalyzerEntry": ("benches", "[analyzer]"),
    "InstrumentEntry": ("benches", "[generator]"),
    "Asset": ("benches", "[asset]"),
    "RoomFigures": ("benches", "[environment]"),
    "Simulation": ("benches", "[simulation]"),
    "AnalyzerData": ("analyzers", "[data]"),
    "LoadBankData": ("analyzers", "[data.load_bank]"),
    "MeterData": ("analyzers", "[data.meter]"),
    "ActivationOutput": ("analyzers", "[data.activation]"),
    "DigitiserData": ("analyzers", "[data.digitiser]"),
    "CommandSet": ("command_sets", "command set"),
    "Frame": ("command_sets", "[frame]"),
    "SerialFormat": ("command_sets", "[serial]"),
    "StreamData": ("command_sets", "[stream]"),
    "AskMessage": ("command_sets", "ask"),
    "TellMessage": ("command_sets", "tell"),
    "AnalyzerCertificate": ("analyzers", "certificate"),
    "CurrentRange": ("analyzers", "[[current]]"),
    "LoadAccuracy": ("analyzers", "[load]"),
    "Drift": ("analyzers", "[drift]"),
    "Influences": ("analyzers", "[influences]"),
    "GeneratorData": ("generators", "[data]"),
    "Mode": ("generators", "[[data.modes]]"),
    "ServiceMode": ("generators", "[data.service]"),
    "ServicePoint": ("generators", "points"),
    "DroopData": ("generators", "droop"),
    "Sweep": ("sweeps", "sweep plan"),
    "LaboratoryFile": ("certificates", "laboratory"),
    "Party": ("certificates", "[[customer]]"),
    "Authorised": ("certificates", "[[authorised]]"),
    "SignatureFiles": ("certificates", "[signature]"),
}
"""The page and the heading cell of each model's table; steps, rules and links go by their kind."""
IN_WORDS = {
    "see below",  # a table of its own
    "procedure's",
    "as_found, as_left",
    "percent = 20",
    "simple acceptance",
}
NEEDS = {
    "always": (
        set(required_messages.ANALYZER),
        set(required_messages.GENERATOR),
    ),
    "format 1": ({"resynchronise"}, {"resynchronise"}),
    "leakage": (set(required_messages.LEAKAGE), set()),
    "waveform": (set(required_messages.WAVEFORM), set()),
    "contact": (set(required_messages.CONTACT), set()),
    "circuits": ({"set_path"}, set()),
    "modes": (set(), set(required_messages.MODES)),
    "service": (set(), set(required_messages.SERVICE)),
    "alarm": (set(), set(required_messages.ALARM)),
}


def _models(of: Any) -> Iterator[type[BaseModel]]:
    """Every model that can stand in a value of type `of`."""
    if isinstance(of, type) and issubclass(of, BaseModel):
        yield of
        for field in of.model_fields.values():
            yield from _models(field.annotation)
    elif get_origin(of) is not Literal:
        for part in get_args(of):
            yield from _models(part)


def _every_model() -> dict[str, type[BaseModel]]:
    roots = (*FILES, *step_kinds().values())
    return {m.__name__: m for root in roots for m in _models(root) if m not in (Step, OwnRule)}


def _place(model: type[BaseModel]) -> tuple[str, str]:
    for key, page, heading in (
        ("rule", "decisions", "{}"),
        ("kind", "procedures" if issubclass(model, Step) else "benches", None),
    ):
        field = model.model_fields.get(key)
        if field is not None and get_origin(field.annotation) is Literal:
            word = get_args(field.annotation)[0]
            if len(get_args(field.annotation)) == 1:
                own = heading or ("{}" if page == "procedures" else 'kind = "{}"')
                return page, own.format(word)
    return TABLES[model.__name__]


def _own_fields(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Without those that the tables of all steps have."""
    if not issubclass(model, Step):
        return dict(model.model_fields)
    shared = TimedStep if issubclass(model, TimedStep) else Step
    common = {*shared.model_fields, "kind"}
    return {key: field for key, field in model.model_fields.items() if key not in common}


@pytest.mark.parametrize("name", sorted(_every_model()))
def test_a_table_names_every_key_of_its_model_and_its_default(
    name: str, all_tables: dict[tuple[str, str], Any]
) -> None:
    model = _every_model()[name]
    rows, fields = all_tables[_place(model)].rows, _own_fields(model)
    assert rows.keys() == fields.keys()
    for key, field in fields.items():
        assert rows[key][0] in _defaults(field), f"{name}.{key}: {rows[key][0]}"


def _defaults(field: FieldInfo) -> set[str]:
    """What a table may say of the default of a field."""
    value = field.default
    if field.is_required():
        return {"required"}
    if value is None or value in ("", ()) or value is PydanticUndefined:
        return {"none"}
    if isinstance(value, bool):
        return {str(value).lower()}
    if isinstance(value, BaseModel):
        return IN_WORDS | {"none"}
    if isinstance(value, tuple):
        return {", ".join(value)}
    if isinstance(value, float):
        return {str(value), f"{value:g}"}
    return {str(value).replace("\n", "\\n")}


def test_the_tables_of_all_steps_name_what_they_share(
    all_tables: dict[tuple[str, str], Any],
) -> None:
    every = all_tables["procedures", "every step"].rows
    timed = all_tables["procedures", "steps with RF"].rows
    assert every.keys() == {*Step.model_fields}
    assert timed.keys() == TimedStep.model_fields.keys() - Step.model_fields.keys()


def test_no_table_of_the_guide_is_of_a_file_that_is_no_more(
    all_tables: dict[tuple[str, str], Any],
) -> None:
    models = {_place(model) for model in _every_model().values()}
    with_defaults = {
        (table.page, table.name)
        for table in all_tables.values()
        if any("required" in cells for cells in table.rows.values())
    }
    shared = {("procedures", "every step"), ("procedures", "steps with RF")}
    assert with_defaults - shared <= models


def test_messages_of_a_command_set_are_named_with_their_fields(
    all_tables: dict[tuple[str, str], Any],
) -> None:
    for heading, verbs in (("ask", get_args(Ask)), ("tell", get_args(Tell))):
        rows = all_tables["analyzers", heading].rows
        assert rows.keys() == set(verbs)
        for verb, (fields, _, _) in rows.items():
            _takes(heading, verb, [field for field in fields.replace("`", "").split(", ") if field])


def _takes(heading: str, verb: str, fields: list[str]) -> None:
    """`verb` must say just these fields; `on` and `arm` may leave theirs out."""
    assert _accepted(heading, verb, fields)
    assert not _accepted(heading, verb, [*fields, "mode" if "mode" not in fields else "point"])
    if fields and verb not in ("arm", "on"):
        assert not _accepted(heading, verb, fields[:-1])


def _accepted(heading: str, verb: str, fields: list[str]) -> bool:
    text = " ".join(["X", *(f"{{{field}}}" for field in fields)])
    ask, tell = {"resynchronise": "X {nonce}"}, dict[str, str]()
    if verb == "arm":  # which comes before `on`, and whose limit must be seen
        ask["remaining"], tell["on"] = "X", "X"
    (ask if heading == "ask" else tell)[verb] = text
    try:
        CommandSet.model_validate({"name": "x", "ask": ask, "tell": tell})
    except ValidationError:
        return False
    return True


@pytest.mark.parametrize(
    ("page", "headings", "who"),
    [("analyzers", ("ask", "tell"), 0), ("generators", ("message",), 1)],
)
def test_what_a_message_is_needed_for_is_what_the_program_needs_it_for(
    page: str, headings: tuple[str, ...], who: int, all_tables: dict[tuple[str, str], Any]
) -> None:
    said: dict[str, set[str]] = {}
    for heading in headings:
        for verb, cells in all_tables[page, heading].rows.items():
            said.setdefault(cells[1], set()).add(verb)
    for need, verbs in NEEDS.items():
        assert said.get(need, set()) == verbs[who]


def test_every_protection_is_named_with_what_gives_it(
    all_tables: dict[tuple[str, str], Any],
) -> None:
    every = {
        words for single in (True, False) for words, _ in Protections(single_shot=single).words()
    }
    every |= {words for words, _ in Protections(limit_in_on=True).words()}
    assert all_tables["safety", "protection"].rows.keys() == {
        key for words in every for key in words.split(", ")
    }
