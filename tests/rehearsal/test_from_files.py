"""Rehearsals from files: the example of the guide, and the one of the module."""

import doctest
import runpy
from pathlib import Path

import pytest

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
