"""The files that `new` writes from answers are read by the program, and nothing is overwritten."""

import json
import os
import re
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
from ohmwright.wire.command_set import CommandSet

TAMSIN_FILE = Path(__file__).parents[1] / "emulators/files/tamsin-40-commands.toml"
TYPED = {
    "maker": ["", "Fenmoor Works"],
    "model": ['Rush 12 "b"'],
    "loads_ohm": ["50,,x", "50, 100.5"],
    "max_power_w": ["300"],
    "max_on_s": [""],
    "max_current_ma": ["-5", "2000"],
    "resolution_ma": ["0.1"],
    "readings_per_s": ["5"],
    "averages_by": ["exponential", "filter"],
    "window_s": [""],
    "reached": ["/dev/ttyUSB7"],
    "baud": ["fast", "19200"],
    "frames": ["words", ""],
    "begins": ["<ZZ>", "!1"],
    "checksum": ["sum", "xor8"],
    "mark": ["*"],
    "checksum_form": ["octal", ""],
    "checksum_over": ["body"],
    "message_ends": ["<CRLF>", "<CR>"],
    "reply_ends": ["<CR><LF>"],
    "answer": ["OK"],
    "echo": ["perhaps", "yes"],
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
        "': must be a number\n",
        "greater than 0",
        "must be a whole number",
        "names no byte",
        "an answer is needed",
        "must be 'yes' or 'no'",
        "must be 'sum8'",
        "must be 'mean' or 'filter'",
        "ohmwright guide by_hand",
    ):
        assert complaint in outcome.err
    bench = read_bench(tmp_path / "rush-12-b-bench.toml")
    assert bench.file.analyzer.link == SerialPort(kind="serial", port="/dev/ttyUSB7", baud=19200)
    assert bench.analyzer.model == TYPED["model"][0]
    assert bench.analyzer.load_bank.loads_ohm == (50, 100.5)
    assert bench.analyzer.meter.averages_by == "filter"
    assert not bench.analyzer.activation.bounded  # its ON carries no limit
    assert bench.analyzer_commands is not None
    message = bench.analyzer_commands.message("set_load", {"load_ohm": 100.5})
    checksum = reduce(xor, b"L 100.5")  # over the body, as xor8 says
    assert message == b"!1L 100.5*%02X\r" % checksum
    assert bench.analyzer_commands.echo
    assert not bench.analyzer_commands.can_ask("load")


TAMSIN = {
    **{key: TYPED[key][-1:] for key in list(TYPED)[: list(TYPED).index("frames")]},
    "frames": ["binary"],
    "begins": ["<A5>"],
    "length": ["many", "u8"],
    "length_counts": ["ends", ""],
    "checksum": ["crc16-modbus"],
    "mark": ["-"],
    "checksum_form": ["binary-le"],
    "checksum_over": ["length, tail", "length, body"],
    "message_ends": [""],
    "reply_ends": [""],
    "echo": [""],
    "identify": ["", "<01>"],
    "identify_reply": ["", "<81>{identity:16}"],
    "set_load": ["<10>{load_ohm:u24}", "<10>{load_ohm:u16}"],
    "set_load_answer": ["<90>"],
    "load": ["<11>"],
    "load_reply": ["<91>{load_ohm:u16}"],
    "on": ["<20>{limit_s:u16*0.1}"],
    "on_answer": ["<A0>"],
    "max_limit_s": ["60"],
    "off": ["<21>"],
    "off_answer": ["<A1>"],
    "state": ["<22>"],
    "state_reply": ["<A2>{state:code}{:2}"],
    "state_off": [""],
    "state_on": [""],
    "current": ["<30>"],
    "current_reply": ["<B0>{number:u32}{current_ma:u16*0.1}"],
}


def test_binary_frames_become_the_command_set_that_a_person_wrote_by_the_same_manual(
    ohmwright: Callable, typed: Callable, tmp_path: Path
) -> None:
    left = typed([line for lines in TAMSIN.values() for line in lines])
    outcome = ohmwright("new", "analyzer", tmp_path)
    assert (outcome.code, list(left)) == (0, []), outcome.err
    made = load(tmp_path / "rush-12-b-commands.toml", CommandSet)
    by_hand = load(TAMSIN_FILE, CommandSet)
    assert made.frame.layout() == by_hand.frame.layout()
    assert made.reply_frame is None
    for verb, values in (
        *(("identify", {}), ("load", {}), ("state", {}), ("fetch_current", {}), ("off", {})),
        *(("set_load", {"load_ohm": 300.0}), ("on", {"limit_s": 7.55})),
    ):
        assert made.message(verb, values) == by_hand.message(verb, values), verb
    for verb in ("identify", "load", "state", "fetch_current"):
        assert made.ask[verb] == by_hand.ask[verb]
    assert {verb: made.tell[verb] for verb in by_hand.tell} == by_hand.tell
    assert by_hand.codes["state"].items() > made.codes["state"].items()  # but for its fault
    for complaint in ("must be 'u8'", "must count the body", "an answer is needed", "'u16'"):
        assert complaint in outcome.err, complaint


@pytest.mark.parametrize(
    ("said", "why"),
    [
        ({"length": "-"}, "a binary checksum may hold the bytes of 'ends'"),
        ({"length": "-", "checksum": "-"}, "without 'ends', 'mark' or 'length'"),
        ({"length_counts": "length"}, "'length_counts' must count the body"),
        ({"checksum_over": "ends"}, "checksum_over"),
        ({"identify": None}, "binary frames have no usual messages: identify"),
        ({"begins": "<ZZ>"}, "names no byte"),
    ],
)
def test_binary_frames_that_nobody_could_read_are_refused(
    ohmwright: Callable, tmp_path: Path, said: dict[str, str | None], why: str
) -> None:
    answers = {key: lines[-1] for key, lines in TAMSIN.items() if lines[-1] != ""} | said
    text = "".join(f"{key} = {json.dumps(v)}\n" for key, v in answers.items() if v is not None)
    numbers = ("max_power_w", "max_current_ma", "resolution_ma", "readings_per_s", "max_limit_s")
    for key in (*numbers, "baud"):
        text = re.sub(f'^({key} = )"(.*)"$', r"\1\2", text, flags=re.MULTILINE)
    (tmp_path / "answers.toml").write_text(text)
    outcome = ohmwright("new", "analyzer", tmp_path / "new", "--answers", tmp_path / "answers.toml")
    assert outcome.code == 2
    assert why in " ".join(outcome.err.split())
    assert not (tmp_path / "new").exists()


def wicket(folder: Path, **more: object) -> Path:
    """A file of answers about an analyzer of text messages."""
    lists = {"loads_ohm": [50, 100]}
    numbers = {"max_power_w": 250, "max_current_ma": 2000, "readings_per_s": 4}
    texts = {"maker": "Ambrose", "model": "Wicket 5", "reached": "/dev/ttyUSB0", "on": "S1"}
    texts |= {"off": "S0", "state": "S?", "current": "A?", "current_reply": "A{current_ma}"}
    given = lists | numbers | texts | more
    path = folder / "answers.toml"
    path.write_text("".join(f"{key} = {json.dumps(v)}\n" for key, v in given.items()))
    return path


def commands_in(folder: Path) -> CommandSet:
    return load(folder / "wicket-5-commands.toml", CommandSet)


def test_how_a_checksum_of_text_is_written_is_kept(ohmwright: Callable, tmp_path: Path) -> None:
    answers = wicket(tmp_path, checksum="sum8", checksum_form="decimal")
    assert ohmwright("new", "analyzer", tmp_path / "new", "--answers", answers).code == 0
    assert commands_in(tmp_path / "new").frames[0].checksum_form == "decimal"


@pytest.mark.parametrize(
    "unused", [{"length_counts": ["ends"]}, {"checksum_form": "decimal"}, {"mark": "*"}]
)
def test_an_answer_that_would_be_lost_is_refused(
    ohmwright: Callable, tmp_path: Path, unused: dict[str, str]
) -> None:
    answers = wicket(tmp_path, **unused)
    outcome = ohmwright("new", "analyzer", tmp_path / "new", "--answers", answers)
    assert outcome.code == 2
    assert f"{next(iter(unused))}: there is no use for it" in " ".join(outcome.err.split())


def test_replies_end_as_messages_do_where_a_file_says_nothing_else(
    ohmwright: Callable, tmp_path: Path
) -> None:
    answers = wicket(tmp_path, message_ends="<CR>")
    assert ohmwright("new", "analyzer", tmp_path / "new", "--answers", answers).code == 0
    assert [each.ends for each in commands_in(tmp_path / "new").frames] == [b"\r", b"\r"]


def test_an_address_of_the_web_is_refused(ohmwright: Callable, tmp_path: Path) -> None:
    answers = wicket(tmp_path, reached="tcp://127.0.0.1:7711")
    outcome = ohmwright("new", "analyzer", tmp_path / "new", "--answers", answers)
    assert outcome.code == 2
    assert "say HOST:PORT" in " ".join(outcome.err.split())


@pytest.mark.parametrize(
    "reached", ["tcp 127.0.0.1 7061", "127.0.0.1", "analyzer", "127.0.0.1 : 7061", "ttyUSB0"]
)
def test_what_is_no_address_is_no_serial_port(
    ohmwright: Callable, tmp_path: Path, reached: str
) -> None:
    answers = wicket(tmp_path, reached=reached)
    outcome = ohmwright("new", "analyzer", tmp_path / "new", "--answers", answers)
    assert outcome.code == 2
    assert f"reached: '{reached}' is no serial port (COM3" in " ".join(outcome.err.split())


@pytest.mark.parametrize(
    ("reached", "kind"),
    [
        ("127.0.0.1:7061", "tcp"),
        ("com3", "serial"),
        ("serial=A B7", "serial"),
        ("USB0::1::2::77::INSTR", "visa"),
    ],
)
def test_each_form_of_address_is_taken(
    ohmwright: Callable, tmp_path: Path, reached: str, kind: str
) -> None:
    answers = wicket(tmp_path, reached=reached)
    assert ohmwright("new", "analyzer", tmp_path / "new", "--answers", answers).code == 0
    bench = read_bench(tmp_path / "new" / "wicket-5-bench.toml")
    assert bench.file.analyzer.link is not None
    assert bench.file.analyzer.link.kind == kind


def test_what_a_file_of_answers_leaves_out_is_told(ohmwright: Callable, tmp_path: Path) -> None:
    answers = wicket(tmp_path, state_reply="OUT {state:code}", baud=19200)
    outcome = ohmwright("new", "analyzer", tmp_path / "new", "--answers", answers)
    assert outcome.code == 0
    told = outcome.err.splitlines()
    assert told[0].startswith("Not in the file of answers, so taken as usual.")
    assert {'  state_off = "0"', '  state_on = "1"', '  identify = "*IDN?"'} <= {*told}
    assert not re.search(r"^  (baud|max_limit_s|length|state_reply) =", outcome.err, re.MULTILINE)


def test_a_generator_without_a_port_tells_what_was_taken_too(
    ohmwright: Callable, tmp_path: Path
) -> None:
    answers = tmp_path / "a.toml"
    answers.write_text('maker = "M"\nmodel = "N"\nmax_setting_w = 9\nrated_load_ohm = 300\n')
    told = ohmwright("new", "generator", tmp_path / "new", "--answers", answers).err.splitlines()
    assert told[1:] == ['  mode = "cut"', '  mode_kind = "cut"', '  reached = "-"']


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
