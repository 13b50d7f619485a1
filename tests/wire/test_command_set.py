"""Command sets: what may stand in one, and what each message becomes."""

import pickle
import re
from pathlib import Path
from typing import get_args

import pytest

from ohmwright import guide
from ohmwright.model.errors import SourceError
from ohmwright.wire.command_set import SHIPPED, CommandSet, load_command_set
from ohmwright.wire.unsayable import held_by_repeats
from ohmwright.wire.verbs import QUESTIONS, Tell

ASK = 'resynchronise = "*ESE {nonce:d};*ESE?"\n'


def written(tmp_path: Path, ask: str = ASK, tell: str = "", head: str = "") -> CommandSet:
    path = tmp_path / "own.toml"
    path.write_text(f'name = "own"\n{head}\n[ask]\n{ask}\n[tell]\n{tell}\n', encoding="utf-8")
    return load_command_set("own.toml", tmp_path / "analyzer.toml")


@pytest.mark.parametrize("path", sorted(SHIPPED.glob("*.toml")), ids=lambda path: path.stem)
def test_the_shipped_ones_load(path: Path) -> None:
    assert load_command_set(path.stem, Path("bench.toml")).name == path.stem


def test_messages() -> None:
    analyzer = load_command_set("scpi-1999-analyzer", Path("bench.toml"))
    generator = load_command_set("scpi-1999-generator", Path("bench.toml"))
    assert analyzer.message("on", {"limit_s": 10}) == b"OUTPut:STATe ON,10.000\n"
    assert analyzer.message("set_load", {"load_ohm": 300.0}) == b"INPut:IMPedance 300\n"
    assert generator.message("set_point", {"point": "cut 300"}) == b'CALibration:POINt "cut 300"\n'
    assert analyzer.carries_limit


def test_on_without_a_limit_says_so(tmp_path: Path) -> None:
    assert not written(tmp_path, tell='on = "OUTP 1"').carries_limit


@pytest.mark.parametrize(
    ("message", "says"),
    [
        ("{load_ohm.__class__}", "no known field"),
        ("{load_ohm[0]}", "no known field"),
        ("{}", "no known field"),
        ("{0}", "no known field"),
        ("{load_ohm!r}", "and nothing else"),
        ("{load_ohm:{setting_w}}", "and nothing else"),
        ("{load_ohm:>99999999}", "and nothing else"),
        ("{load_ohm:.3d}", "cannot take"),
        ("{load_ohm", "braces"),
        ("{setting_w}", "has no field 'setting_w'"),
        ("IMP 300", "must hold '{load_ohm}'"),
        ("IMP {load_ohm}\\nOUTP ON", "printable ASCII"),
        ("IMP {load_ohm} Ω", "printable ASCII"),
        ("", "at least 1"),
    ],
)
def test_what_may_not_stand_in_a_message(tmp_path: Path, message: str, says: str) -> None:
    with pytest.raises(SourceError, match=r"own\.toml:[67]:\d: tell") as caught:
        written(tmp_path, tell=f'set_load = "{message}"')
    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("ask", "head", "says"),
    [
        ("", "", "without 'resynchronise'"),
        (ASK + 'wobble = "W?"', "", "wobble"),
        (ASK, 'reply_terminator = ""', "reply_terminator"),
        (ASK, 'reading = ["unit"]', "one 'value'"),
        (ASK, "timeout_s = 0", "timeout_s"),
    ],
)
def test_what_else_may_not_stand_in_one(tmp_path: Path, ask: str, head: str, says: str) -> None:
    with pytest.raises(SourceError) as caught:
        written(tmp_path, ask=ask, head=head)
    assert says in str(caught.value)


@pytest.mark.parametrize("point", ['x"', "x\n*RST", "x;*RST", "Ω", "", "x'"])
def test_a_name_cannot_smuggle_a_message(point: str) -> None:
    generator = load_command_set("scpi-1999-generator", Path("bench.toml"))
    with pytest.raises(SourceError, match="cannot be sent as point"):
        generator.message("set_point", {"point": point})


@pytest.mark.parametrize("load_ohm", [float("nan"), float("inf"), None])
def test_only_finite_numbers_are_sent(load_ohm: object) -> None:
    analyzer = load_command_set("scpi-1999-analyzer", Path("bench.toml"))
    with pytest.raises(SourceError, match="cannot be sent as load_ohm"):
        analyzer.message("set_load", {"load_ohm": load_ohm})


def test_a_verb_the_set_has_not(tmp_path: Path) -> None:
    with pytest.raises(SourceError, match="does not say how to 'on'"):
        written(tmp_path).message("on", {"limit_s": 1.0})


def test_a_command_set_that_is_not_there() -> None:
    with pytest.raises(SourceError, match="scpi-1999-analyzer"):
        load_command_set("scpi", Path("bench.toml"))


ARMED = 'on = "FIRE"\n'
FORMAT_2 = """\
format = 2
name = "own"

[frame]
ends = "<CR>"

[codes.state]
off = "O"
on = "C"

[ask]
identify = { send = "ID?", reply = "ID {identity}" }
state = { send = "K?", reply = "K={state:code}" }

[tell]
set_load = "R{load_ohm:d}"
"""


@pytest.mark.parametrize(
    ("key", "instead", "line", "says"),
    [
        ('"ID {identity}"', '"ID {load_ohm}"', 12, "must hold '{identity}'"),
        ('"K={state:code}"', '"K={state:kode}"', 13, "may have a format"),
        ('"K={state:code}"', '"K={state:u8}"', 13, "needs a 'length'"),
        ('"K?"', '"K<XYZ>"', 13, "names no byte"),
        ('on = "C"', 'open = "C"', 9, "'open' is no state"),
        ('on = "C"', 'on = ["C", "O"]', 9, "codes.state.on: 'O' stands for 'off' as well"),
        ('on = "C"', 'on = "C"\nfault = "<43>"', 10, "state.fault: 'C' stands for 'on' as well"),
        ("[ask]", '[codes.load_ohm]\n50 = "1"\n99 = "1"\n[ask]', 13, "load_ohm.99: '1' stands"),
        ('ends = "<CR>"', 'ends = ""', 4, "nobody knows where a frame ends"),
        ('ends = "<CR>"', 'checksum = "crc99"', 5, "must be"),
        ('ends = "<CR>"', 'checksum = "xor8"\nchecksum_form = "binary"', 4, "binary checksum"),
        ("[ask]", '[stream]\nline = "{state}"\nanswers = ["state"]\n[ask]', 13, "is asked"),
        ("format = 2", "format = 1", 4, "needs 'format = 2'"),
        ('name = "own"', 'name = "own"\nreading = ["value"]', 3, "needs 'format = 1'"),
        ("set_load =", 'off = "K0"\narm = "ARM"\nset_load =', 17, "right before 'on'"),
        ("set_load =", f'{ARMED}arm = "A {{limit_s:d}}"\nset_load =', 17, "an older one in force"),
    ],
)
def test_what_is_wrong_in_format_2_is_told_with_its_place(
    tmp_path: Path, key: str, instead: str, line: int, says: str
) -> None:
    path = tmp_path / "own.toml"
    path.write_text(FORMAT_2.replace(key, instead), encoding="utf-8")
    with pytest.raises(SourceError) as caught:
        load_command_set("own.toml", tmp_path / "analyzer.toml")
    assert says in str(caught.value)
    assert re.search(rf"own\.toml:{line}:\d+: ", str(caught.value))


def test_the_limit_may_come_with_what_arms_the_output(tmp_path: Path) -> None:
    armed = ARMED + 'arm = { send = "A {limit_s:.1f}", answer = "A" }\nset_load ='
    (tmp_path / "own.toml").write_text(FORMAT_2.replace("set_load =", armed), encoding="utf-8")
    commands = load_command_set("own.toml", tmp_path / "analyzer.toml")
    assert commands.carries_limit
    assert commands.sent_limit_s(7.89) == 7.8  # never longer
    assert commands.message("arm", {"limit_s": 7.8}) == b"A 7.8\r"


def test_of_the_limits_of_arm_and_on_the_shorter_counts(tmp_path: Path) -> None:
    """By the other one RF would be waited for after the analyzer has ended it."""
    both = 'on = "F {limit_s:d}"\narm = { send = "A {limit_s:.1f}", answer = "A" }\nset_load ='
    (tmp_path / "own.toml").write_text(FORMAT_2.replace("set_load =", both), encoding="utf-8")
    assert load_command_set("own.toml", tmp_path / "analyzer.toml").sent_limit_s(7.89) == 7


def test_a_set_that_was_used_can_be_handed_to_another_process() -> None:
    """A rehearsal hands its bench to its workers."""
    commands = load_command_set("scpi-1999-analyzer", Path("bench.toml"))
    handed = pickle.loads(pickle.dumps(commands))
    assert handed == commands
    assert handed.message("off", {}) == commands.message("off", {})


@pytest.mark.parametrize(
    ("tell", "place"),
    [
        ('on = { send = "K {limit_s:d}", repeat_s = 2 }', "tell.on.repeat_s"),
        ('on = "K {limit_s:d}"\nkeep_alive = "K"', "tell.keep_alive"),
        ('on = "K {limit_s:d}"\nhold = { send = "H" }', "tell.hold"),
    ],
)
def test_an_output_that_must_be_told_again_is_refused_and_where_to_read(
    tmp_path: Path, tell: str, place: str
) -> None:
    with pytest.raises(SourceError, match=f"{place}: .*What data cannot say"):
        written(tmp_path, tell=tell, head="format = 2")
    assert "## What data cannot say" in guide.page("command_sets")


def test_no_verb_or_key_of_a_set_seems_to_hold_the_output_on() -> None:
    names = {*CommandSet.model_fields, *QUESTIONS, *get_args(Tell)}
    assert list(held_by_repeats({"tell": {key: {} for key in names}, **dict.fromkeys(names)})) == []
