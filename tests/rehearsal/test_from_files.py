"""Rehearsals from files: the example of the guide, and the one of the module."""

import doctest
import runpy
from pathlib import Path
from typing import Any

import pytest

from ohmwright.model.errors import UsageError
from ohmwright.model.shipped import shipped
from ohmwright.rehearsal import from_files
from tests.cli.guide.conftest import examples


def test_the_example_of_the_guide_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
):
    for page in ("rehearsal", "testing", "benches"):
        for example in examples(page):
            if len(example.words) == 3 and "/" not in example.words[2]:
                (tmp_path / example.words[2]).write_text(example.text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("ohmwright.rehearsal.rehearse._cores", lambda: 1)
    runpy.run_path("rehearse_power.py", run_name="__main__")
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == "0 of 12 wrongly accepted"
    assert lines[1] == "at most 26.5 %"  # Clopper and Pearson for 0 of 12: 1 - 0.025 ** (1 / 12)
    assert len(lines) == 5


def test_the_example_of_the_module_runs():
    assert doctest.testmod(from_files).failed == 0


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"units": 0}, "units= takes a whole number from 1 on, not 0"),
        ({"units": 1.5}, "units= takes a whole number from 1 on, not 1.5"),
        ({"units": True}, "units= takes a whole number from 1 on, not True"),
        ({"seed": -1}, "seed= takes a whole number from 0 on, not -1"),
        ({"workers": "2"}, "workers= takes a whole number from 1 on, not '2'"),
        ({"workers": 0}, "workers= takes a whole number from 1 on, not 0"),
    ],
)
def test_what_is_no_count_is_refused_by_its_name(options: dict[str, Any], says: str):
    with pytest.raises(UsageError, match=says):
        _rehearsed(**options)


def test_a_rehearsal_is_compared_with_a_rehearsal():
    with pytest.raises(UsageError, match="A rehearsal is wanted, not None"):
        _rehearsed(units=1, workers=1).compare(None)


def test_what_a_notebook_shows_takes_one_line():
    assert repr(_rehearsed(units=1, workers=1)).endswith("Marlow 150: 1 of 1 units, 1 pass>")


def _rehearsed(**options: Any) -> Any:
    procedure = shipped("procedures", "attended-marlow.toml")
    return from_files.rehearse(procedure, shipped("benches", "attended.toml"), **options)
