"""Complaints about data files: what, where with line and column, and the nearest valid key."""

from pathlib import Path

import pytest

from ohmwright.model.bench_file import BenchFile
from ohmwright.model.errors import ProcedureError, SourceError
from ohmwright.model.positions import key_positions
from ohmwright.model.procedure_file import read_procedure
from ohmwright.model.source import load

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
        ("load_ohm", "lod_ohm", "p.toml:10:1: step.0.lod_ohm: unknown key 'lod_ohm'; "),
        ("load_ohm", "load_kohm", "the nearest valid key is 'load_ohm'"),
        ("load_ohm = 300", "load_ohm = -3", "p.toml:10:1: step.0.load_ohm: input should be"),
        ('title = "Output"\n', "", "p.toml:1:1: the key 'title' is missing here."),
        ("percent = 10", "absolute_ma = 10", "another unit than the target: absolute_ma given"),
        ("percent = 10", "percent = 10, x = 1", "p.toml:12:29: step.0.tolerance.x: unknown key"),
        ('kind = "output"', 'kind = "outptu"', "p.toml:5:3: step.0: "),
        ("power_w = 100", "power_w = 100\ncurrent_ma = 5", "give exactly one of current_ma and"),
        ("power_w = 100", "power_w = ", "p.toml:11:11: this is not valid TOML"),
        ("power_w = 100", "power_w = nan", "p.toml:11:1: step.0.power_w: input should be"),
    ],
)
def test_each_complaint_names_its_place(tmp_path: Path, old: str, new: str, says: str) -> None:
    assert says in complaint(tmp_path, GOOD.replace(old, new, 1))


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
    with pytest.raises(SourceError, match="cannot be read as UTF-8"):
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
