"""Complaints about data files: what, where with line and column, and the nearest valid key."""

import json
import re
from pathlib import Path

import pytest

from ohmwright.engine.procedure import Procedure
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.model import complaint_words
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.base import FrozenModel
from ohmwright.model.bench_file import BenchFile
from ohmwright.model.errors import ProcedureError, SourceError
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.positions import key_positions
from ohmwright.model.shipped import shipped
from ohmwright.model.source import is_existing_file, load
from ohmwright.model.text_limits import LARGEST_BYTES
from ohmwright.wire.command_set import SHIPPED

GOOD = """\
title = "Output"
revision = "1"
model = "Testmodel"

[[step]]
kind = "output"
name = "cut"
mode = "cut"
setting_w = 100
load_ohm = 300
power_w = 100
tolerance = { percent = 10 }
"""


def complaint(tmp_path: Path, text: str) -> str:
    path = tmp_path / "p.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ProcedureError) as caught:
        read_procedure(path)
    return caught.value.happened.replace(str(path), "p.toml")


def test_a_good_procedure_is_read(tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_text(GOOD, encoding="utf-8")
    file = read_procedure(path)
    assert file.procedure.step[0].name == "cut"
    assert file.place("cut", "load_ohm") == f"{path}:10:1"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("load_ohm", "lod_ohm", "p.toml:10:1: step 'cut', lod_ohm: unknown key 'lod_ohm'; "),
        ("load_ohm", "load_kohm", "the nearest valid key is 'load_ohm'"),
        ("load_ohm = 300", "load_ohm = -3", "10:1: step 'cut', load_ohm: must be greater"),
        ('title = "Output"\n', "", "p.toml:1:1: the key 'title' is missing here."),
        ("percent = 10", "absolute_ma = 10", "12:1: step 'cut', tolerance: the tolerance is in"),
        ("percent = 10", "absolute_ma = 10", "another unit than the target: absolute_ma given"),
        ("percent = 10", "percent = 10, x = 1", "12:29: step 'cut', tolerance.x: unknown key"),
        ('kind = "output"', 'kind = "outptu"', "p.toml:6:1: step 'cut', kind: unknown kind "),
        ("power_w = 100", "power_w = 100\ncurrent_ma = 5", "give exactly one of current_ma and"),
        ("power_w = 100", "power_w = ", "p.toml:11:11: this is not valid TOML"),
        ("power_w = 100", "power_w = 40,5", "not valid TOML: a number has a point, as in 40.5."),
        ("power_w = 100", "power_w = nan", "11:1: step 'cut', power_w: must be a finite number"),
    ],
)
def test_each_complaint_names_its_place(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert says in complaint(tmp_path, GOOD.replace(old, new, 1))


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('"output"', '"ouput"', "kind: unknown kind 'ouput'; the nearest valid kind is 'output'."),
        ('kind = "output"\n', "", "p.toml:5:3: step 'cut': the key 'kind' is missing here."),
        ('name = "cut"\n', "", "p.toml:5:3: step 1: the key 'name' is missing here."),
        ('"cut"', "7", 'p.toml:7:1: step 1, name: must be text in quotes, as in "text".'),
        ('"cut"', '"Cut A"', "name: must be a name of small letters, digits and _ . - without"),
        ("= 300", '= "x"', "10:1: step 'cut', load_ohm: must be a number."),
        ("= 300", "= [300]", "step 'cut', load_ohm: must be a number."),
        ("{ percent = 10 }", "10", "tolerance: must be a table in braces, as in { key = value }."),
        ("power_w = 100", "power_w = 100\nstages = 1", "stages: must be a list in brackets"),
        ("power_w = 100", 'power_w = 100\nstages = ["x"]', "stages entry 1: must be 'as_found', "),
        ("power_w = 100", "power_w = 100\nstages = []", "stages: must have 1 or more entries."),
        ("[[step]]", "[step]", "step: must be a list in brackets, "),
        ("[[step]]", "[step]", "where it is one of tables, the heading of each has two, as in [["),
        (
            "power_w = 100",
            'power_w = 100\ndecision = { rule = "guardband" }',
            "p.toml:12:14: step 'cut', decision.rule: unknown rule 'guardband'; the nearest valid "
            "rule is 'guard band'.",
        ),
    ],
)
def test_complaints_are_in_plain_words(tmp_path: Path, old: str, new: str, says: str) -> None:
    said = complaint(tmp_path, GOOD.replace(old, new, 1))
    assert says in said
    assert not re.search(r"\b(input|tag|dictionary|instance|pattern|parse|tuple)\b", said)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("mode =", "name =", "p.toml:8:13: {0}the key 'name' stands twice in its table, first i"),
        ("mode =", "name =", "first in line 7."),
        ("[[step]]", "[step]\n[step]", "6:6: {0}the table [step] stands twice, first in line 5; "),
        ("[[step]]", "[step]\n[[step]]", "6:7: {0}[[step]] follows a [step]; each needs both pa"),
        ("= 10 }", "= 10, percent = 1 }", "12:40: {0}the key 'percent' stands twice in its braces"),
        ("percent = 10", "percent = 1,5", "{0}a number has a point, as in 40.5."),
        ("= 300", "= 300 ohm", "{0}a number is written without its unit."),
        ("= 300", "= 300 %", "{0}a number is written without its unit."),
        ("= 300", "= .5", "{0}a number has a digit before its point, as in 0.5."),
        ("= 300", "= 31.01.2026", "{0}a date is written as in 2026-01-31."),
        ("= 300", "= 1/31/2026", "{0}a date is written as in 2026-01-31."),
        ("= 300", "=", "10:11: {0}a value is missing."),
        ("= 300", ": 300", "{0}a key and its value are joined by =, as in key = 40."),
        ('"output"', "“output”", '6:8: {0}quotes are straight, as in "text".'),
        ('"output"', "output", '6:8: {0}text stands in quotes, as in "text".'),
        ('"output"', '"output', "6:15: {0}a text in this line has no closing quote."),
        ('"output"', '"out\0put"', "6:12: {0}the character U+0000 is not allowed."),
        ("= 300", "=\u00a0300", "10:11: {0}a special space stands here (U+00A0, no-break space), "),
        (
            "= 300",
            "= \u200b300",
            "10:12: {0}a character that is not seen stands here (U+200B,",
        ),
        ("= 300", "= \u2212300", "10:12: {0}a minus is the sign -, as in -40."),
        ("= 300", "= 1 300", "{0}a number is written without spaces, as in 1000."),
        ("= 300", "= 0300", "{0}a number has no zeros in front, as in 40."),
        ("percent = 10", "percent = 10%", "12:27: {0}a number is written without its unit."),
        ("percent = 10", "percent = 10 W", "{0}a number is written without its unit."),
        ("percent = 10", "percent = 10 x = 1", "12:28: {0}a comma or } is missing here."),
        (
            '"output"',
            '"C:\\x"',
            "6:13: {0}a backslash stands twice in a text, as in C:\\\\bench; a pa",
        ),
        ("= 300", "= True", "{0}true and false are written in small letters."),
    ],
)
def test_a_slip_in_toml_is_told_by_its_cause(tmp_path: Path, old: str, new: str, says: str) -> None:
    said = complaint(tmp_path, GOOD.replace(old, new, 1))
    assert says.replace("{0}", "this is not valid TOML: ") in said


def test_what_is_missing_at_the_end_has_the_place_after_the_last_character(tmp_path: Path) -> None:
    """Would notice a column that is counted from 0."""
    said = complaint(tmp_path, GOOD + "x = [1,\n  20  \n\n")
    assert said == "p.toml:14:5: this is not valid TOML: Unclosed array."


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("= 100", '= "60"', "p.toml:9:1: step 'cut', setting_w: must be a number."),
        ("percent = 10", 'percent = "1_5"', "12:15: step 'cut', tolerance.percent: must be a numb"),
        ("power_w = 100", "power_w = 100\nage_s = true", "12:1: step 'cut', age_s: must be a nu"),
        ("\n[[", '\n[defaults]\nrest_s = "20"\n\n[[', "6:1: defaults.rest_s: must be a number."),
    ],
)
def test_a_number_in_quotes_is_none(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert says in complaint(tmp_path, GOOD.replace(old, new, 1))


def test_values_of_another_form_come_together(tmp_path: Path) -> None:
    text = shipped("analyzers", "gantry-400.toml").read_text(encoding="utf-8")
    path = tmp_path / "a.toml"
    path.write_text(
        text.replace("waveform = true", 'waveform = "yes"')
        .replace("max_power_w = 420", "max_power_w = true")
        .replace("    12, 20,", '    12, "2_0",')
        .replace("bits = 16", 'bits = "16"')
    )
    with pytest.raises(SourceError) as caught:
        load(path, AnalyzerData, table="data")
    assert caught.value.happened.replace(str(path), "a.toml").splitlines() == [
        "a.toml:9:1: data.waveform: must be true or false.",
        "a.toml:13:9: data.load_bank.loads_ohm entry 2: must be a number.",
        "a.toml:16:1: data.load_bank.max_power_w: must be a number.",
        "a.toml:30:1: data.digitiser.bits: must be a whole number.",
    ]


def test_a_number_is_no_true_and_no_date(tmp_path: Path) -> None:
    """Would notice 1 read as true, and 0 as a day of 1970: a certificate dated by a slip."""
    text = shipped("analyzers", "gantry-400.toml").read_text(encoding="utf-8")
    (tmp_path / "a.toml").write_text(text.replace("waveform = true", "waveform = 1"))
    with pytest.raises(SourceError, match="waveform: must be true or false"):
        load(tmp_path / "a.toml", AnalyzerData, table="data")
    text = shipped("analyzers", "gantry-400", "certificate.toml").read_text(encoding="utf-8")
    (tmp_path / "c.toml").write_text(re.sub(r"calibrated_on = \S+", "calibrated_on = 0", text))
    with pytest.raises(SourceError, match="calibrated_on: must be a date, as in"):
        load(tmp_path / "c.toml", AnalyzerCertificate)


@pytest.mark.parametrize("noun", [Procedure, BenchFile, AnalyzerData, GeneratorData])
def test_every_pattern_of_a_data_file_has_words(noun: type[FrozenModel]) -> None:
    schema = json.dumps(noun.model_json_schema())
    patterns = {json.loads(found) for found in re.findall(r'"pattern": (".+?[^\\]")', schema)}
    assert patterns <= complaint_words._PATTERNS.keys()


def test_a_file_of_another_kind_is_called_by_its_kind(tmp_path: Path) -> None:
    path = tmp_path / "b.toml"
    path.write_text(GOOD)
    with pytest.raises(SourceError, match="this is a procedure, not a bench file"):
        load(path, BenchFile)
    bench = shipped("benches", "demo.toml").read_text(encoding="utf-8")
    assert "p.toml: this is a bench file, not a procedure." in complaint(tmp_path, bench)
    without_unit = re.sub(r"(?s)\[asset\].*?\n\n", "", bench)
    assert "this is a bench file, not a procedure." in complaint(tmp_path, without_unit)


@pytest.mark.parametrize(
    ("file", "kind"),
    [
        (shipped("generators", "marlow-150.toml"), "the data file of a generator"),
        (shipped("analyzers", "gantry-400.toml"), "the data file of an analyzer"),
        (SHIPPED / "scpi-1999-analyzer.toml", "a command set"),
    ],
)
def test_instrument_files_are_called_by_their_kind(tmp_path: Path, file: Path, kind: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert f"p.toml: this is {kind}, not a procedure." in complaint(tmp_path, text)
    if kind != "the data file of an analyzer":
        with pytest.raises(SourceError, match=f"is {kind}, not the data file of an analyzer"):
            load(file, AnalyzerData, table="data")


def test_a_file_that_is_not_there_is_looked_for_in_a_folder_that_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SourceError) as refused:
        load(Path("none.toml"), BenchFile)
    assert refused.value.do == f"Check the name and folder; this one is {tmp_path}."
    with pytest.raises(SourceError) as refused:
        load(tmp_path / "none.toml", BenchFile)
    assert refused.value.do == "Check the name and folder."


SECOND = "\n" + GOOD[GOOD.index("[[step]]") :]


@pytest.mark.parametrize(
    ("second", "says"),
    [
        (SECOND, "p.toml:16:1: step 'cut', name: two steps are called 'cut'; this is the second."),
        (
            SECOND.replace('"cut"', '"b"', 1) + "max_on_s = 5\n",
            "p.toml:22:1: step 'b', max_on_s: max_on_s (5 s) must leave 2 s or more after age_s "
            "(6 s).",
        ),
        (
            SECOND.replace('"cut"', '"b"', 1) + "age_s = 19\n",
            "p.toml:14:3: step 'b': max_on_s (20 s) must leave 2 s or more after age_s (19 s).",
        ),
    ],
)
def test_what_is_wrong_between_keys_has_the_place_of_its_step(
    tmp_path: Path, second: str, says: str
) -> None:
    assert complaint(tmp_path, GOOD + second) == says


def test_several_complaints_come_together_in_order(tmp_path: Path) -> None:
    text = GOOD.replace("load_ohm", "lod_ohm").replace("setting_w", "seting_w")
    lines = complaint(tmp_path, text).splitlines()
    places = [tuple(map(int, line.split(":")[1:3])) for line in lines]
    assert places == sorted(places)
    assert {(9, 1), (10, 1)} == set(places)


def test_a_missing_file_is_one_message(tmp_path: Path) -> None:
    with pytest.raises(SourceError, match="there is no such file"):
        load(tmp_path / "none.toml", BenchFile)


def test_a_file_that_is_no_text(tmp_path: Path) -> None:
    path = tmp_path / "b.toml"
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(SourceError, match="a byte here is no UTF-8 text"):
        load(path, BenchFile)


def test_positions_of_nested_keys() -> None:
    text = (
        '# c\na = 1\n[t]\n"q k".b = { c = 2, d = [1, { e = 3 }] }\n[[t.x]]\ny = 1\n[[t.x]]\ny = 2\n'
    )
    places = key_positions(text)
    assert places["a",] == (2, 1)
    assert places["t", "q k", "b", "c"] == (4, 13)
    assert places["t", "q k", "b", "d", 1, "e"] == (4, 30)
    assert places["t", "x", 0, "y"] == (6, 1)
    assert places["t", "x", 1, "y"] == (8, 1)


def test_columns_count_characters_not_bytes() -> None:
    assert key_positions('"é é".b = { c = 2 }')["é é", "b", "c"] == (1, 13)


def long(*parts: str) -> str:
    """Parts repeated to what a file may have at most."""
    text = "".join(parts)
    return text * (LARGEST_BYTES // len(text) - 10)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("a = " + "9" * 5000, "p.toml:1:5: a number or name of 5,000 characters."),
        ("a = 1\nb = " + 21 * "[" + 21 * "]", "p.toml:2:25: nested more than 20 levels deep."),
        ("b = " + 2000 * "{a = " + "1" + 2000 * "}", "nested more than 20 levels deep."),
        ("a" + long(".a") + " = 1", "p.toml:1:40: nested more than 20 levels deep."),
        ("[a" + long(".a") + "]", "nested more than 20 levels deep."),
        (GOOD + "#" * LARGEST_BYTES, "p.toml: is larger than 250 kB."),
        ('"' + long("k") + '" = 1\n', "p.toml:1:1: " + 60 * "k" + "…: unknown key '"),
        (long("a = 1\n"), "p.toml:2:6: this is not valid TOML: the key 'a' stands twice in"),
    ],
)
def test_too_much_of_anything(tmp_path: Path, text: str, says: str) -> None:
    assert says in complaint(tmp_path, text)


def test_much_that_is_none_too_much(tmp_path: Path) -> None:
    text = GOOD.replace('"Output"', '"""' + 99 * "[{ a.b.c.d\n" + '"""') + 99 * "# [[[[ a.b.c.\n"
    path = tmp_path / "p.toml"
    path.write_text(text + 'note = """' + 3000 * "a.b [" + '"""\n', encoding="utf-8")
    assert read_procedure(path).procedure.title.startswith("[{ a.b.c.d")


def test_many_complaints_are_the_first_few(tmp_path: Path) -> None:
    lines = complaint(
        tmp_path, GOOD + "".join(f"wobble{n} = 1\n" for n in range(5000))
    ).splitlines()
    assert len(lines) == 21
    assert lines[0].startswith("p.toml:13:1: step 'cut', wobble0: unknown key 'wobble0'")
    assert lines[-1].startswith("p.toml: and perhaps more.")


def test_many_keys_on_one_line_that_is_not_ascii() -> None:
    names = [f"é{n}" for n in range(20000)]
    places = key_positions("x = { " + ", ".join(f'"{name}" = 1' for name in names) + " }")
    assert places["x", "é0"] == (1, 7)
    assert places["x", "é1"] == (1, 17)
    assert places["x", "é19999"][1] > 200000


def test_a_file_name_that_no_file_can_have(tmp_path: Path) -> None:
    assert not is_existing_file(tmp_path / ("a" * 300))
    assert not is_existing_file(tmp_path / "a\0b")
