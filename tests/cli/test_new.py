"""The files that `new` writes from answers are read by the program, and nothing is overwritten."""

import os
import sys
from collections.abc import Callable, Iterator
from functools import reduce
from operator import xor
from pathlib import Path

import pytest

from ohmwright.api.bench_data import read_bench
from ohmwright.cli import new_command
from ohmwright.cli.new_questions import AnalyzerAnswers, GeneratorAnswers
from ohmwright.model.bench_file import SerialPort
from ohmwright.model.hardware import GeneratorData
from ohmwright.model.source import load

TYPED = {
    "maker": ["", "Fenmoor Works"],
    "model": ['Rush 12 "b"'],
    "loads_ohm": ["50,,x", "50, 100.5"],
    "max_power_w": ["300"],
    "max_on_s": [""],
    "max_current_ma": ["-5", "2000"],
    "resolution_ma": ["0.1"],
    "readings_per_s": ["5"],
    "window_s": [""],
    "reached": ["/dev/ttyUSB7"],
    "baud": ["fast", "19200"],
    "message_ends": ["<CRLF>", "<CR>"],
    "reply_ends": ["<CR><LF>"],
    "answer": ["OK"],
    "echo": ["perhaps", "yes"],
    "checksum": ["sum", "xor8"],
    "mark": ["*"],
    "identify": ["ID?"],
    "set_load": ["L {ohm}", "L {load_ohm:05.1f}"],
    "load": ["-"],
    "on": ["KEY 1"],
    "off": ["-", "KEY 0"],
    "state": ["KEY?"],
    "state_reply": ["KEY", "KEY {state:code}"],
    "state_off": ["OPEN"],
    "state_on": ["CLOSED"],
    "current": ["I?"],
    "current_reply": ["I={current_a} A"],
}


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch) -> Callable[[list[str]], Iterator[str]]:
    def type_them(lines: list[str]) -> Iterator[str]:
        left = iter(lines)

        async def read_line() -> str:
            return next(left) + "\n"

        monkeypatch.setattr(new_command, "read_line", read_line)
        return left

    return type_them


def test_what_is_typed_becomes_files_that_the_program_reads(
    ohmwright: Callable, typed: Callable, tmp_path: Path
) -> None:
    left = typed([line for lines in TYPED.values() for line in lines])
    outcome = ohmwright("new", "analyzer", tmp_path)
    assert (outcome.code, list(left)) == (0, []), outcome.err
    for complaint in (
        "valid number",
        "greater than 0",
        "valid integer",
        "names no byte",
        "an answer is needed",
        "should be 'yes' or 'no'",
        "should be 'sum8'",
        "ohmwright guide by_hand",
    ):
        assert complaint in outcome.err
    bench = read_bench(tmp_path / "rush-12-b-bench.toml")
    assert bench.file.analyzer.link == SerialPort(kind="serial", port="/dev/ttyUSB7", baud=19200)
    assert bench.analyzer.model == TYPED["model"][0]
    assert bench.analyzer.load_bank.loads_ohm == (50, 100.5)
    assert not bench.analyzer.activation.bounded  # its ON carries no limit
    assert bench.analyzer_commands is not None
    message = bench.analyzer_commands.message("set_load", {"load_ohm": 100.5})
    checksum = reduce(xor, b"L 100.5")  # over the body, as xor8 says
    assert message == b"L 100.5*%02X\r" % checksum
    assert bench.analyzer_commands.echo
    assert not bench.analyzer_commands.can_ask("load")


def test_files_that_exist_stay_as_they_are(
    ohmwright: Callable, typed: Callable, tmp_path: Path
) -> None:
    (tmp_path / "rush-12-b.toml").write_text("mine")
    typed([line for lines in TYPED.values() for line in lines])
    outcome = ohmwright("new", "analyzer", tmp_path)
    assert (outcome.code, "exists already" in outcome.err) == (2, True)
    assert [path.name for path in tmp_path.iterdir()] == ["rush-12-b.toml"]
    assert (tmp_path / "rush-12-b.toml").read_text() == "mine"


@pytest.mark.parametrize("port", ["-", "10.0.0.9:4001"])
def test_a_generator_from_a_file_of_answers(ohmwright: Callable, tmp_path: Path, port: str) -> None:
    answers = tmp_path / "answers.toml"
    answers.write_text(
        f'maker = "Dunlow"\nmodel = "M 9"\nmax_setting_w = 90\nrated_load_ohm = 300\n'
        f'reached = "{port}"\n'
    )
    outcome = ohmwright("new", "generator", tmp_path / "new", "--answers", answers)
    assert outcome.code == 0
    data = load(tmp_path / "new" / "m-9.toml", GeneratorData, table="data")
    assert (data.command_set is None, 'kind = "tcp"' in outcome.out) == (port == "-", port != "-")


def test_an_answer_that_is_missing_in_a_file_is_named(ohmwright: Callable, tmp_path: Path) -> None:
    answers = tmp_path / "answers.toml"
    answers.write_text('maker = "Dunlow"\n')
    outcome = ohmwright("new", "generator", tmp_path, "--answers", answers)
    assert outcome.code == 2
    assert "'max_setting_w' is missing" in outcome.err


def test_every_question_can_be_read_by_a_person() -> None:
    for noun in (AnalyzerAnswers, GeneratorAnswers):
        for key, field in noun.model_fields.items():
            assert len(field.description or "") > 10, key


def test_nobody_to_answer_is_told_of_answers(
    ohmwright: Callable, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    with Path(os.devnull).open() as nothing:
        monkeypatch.setattr(sys, "stdin", nothing)
        outcome = ohmwright("new", "generator", tmp_path)
    assert (outcome.code, "--answers" in outcome.err) == (2, True)
    assert list(tmp_path.iterdir()) == []
