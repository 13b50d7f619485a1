"""`lint`, `doctor` and a run read the same files, and say the same of what does not fit."""

from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped
from ohmwright.wire.command_set import SHIPPED

STEPS = """
[[step]]
kind = "leakage"
name = "leakage"
mode = "coag"
setting_w = 105
limit_ma = 150

[[step]]
kind = "crest_factor"
name = "crest"
mode = "coag"
setting_w = 105
load_ohm = 500
crest_factor = 5.0
tolerance = { percent = 20 }

[[step]]
kind = "contact_quality"
name = "contact"
from_ohm = 40
to_ohm = 240
step_ohm = 2
alarm_above_ohm = 100
alarm_below_ohm = 160

[[step]]
kind = "adjust"
name = "cut-current"
point = "cut current"
load_ohm = 100
current_ma = 800
tolerance = { absolute_ma = 8 }
max_on_s = 40
"""


@pytest.fixture
def files(tmp_path: Path, procedure: Path) -> Path:
    """A simulated bench with every file in one folder, and a procedure with every kind of step."""
    procedure.write_text(procedure.read_text() + STEPS, encoding="utf-8")
    for name in ("analyzer", "generator"):
        own = (SHIPPED / f"scpi-1999-{name}.toml").read_text(encoding="utf-8")
        (tmp_path / f"{name}-commands.toml").write_text(own, encoding="utf-8")
    names = {"analyzer": "gantry-400", "generator": "quillon-300"}
    bench = shipped("benches", "demo.toml").read_text(encoding="utf-8")
    for kind, name in names.items():
        text = shipped(f"{kind}s", f"{name}.toml").read_text(encoding="utf-8")
        assert f'"scpi-1999-{kind}"' in text
        text = text.replace(f'"scpi-1999-{kind}"', f'"{kind}-commands.toml"')
        (tmp_path / f"{kind}.toml").write_text(text, encoding="utf-8")
        bench = bench.replace(f'data = "{name}"', f'data = "{kind}.toml"')
    (tmp_path / "bench.toml").write_text(bench, encoding="utf-8")
    return tmp_path


@pytest.fixture
def refused(ohmwright: Callable, files: Path, procedure: Path) -> Callable[[], list[str]]:
    """What lint, doctor and a run say, each of which must refuse with code 2."""

    def call(*commands: str) -> list[str]:
        bench, told = files / "bench.toml", []
        every = {
            "lint": ("lint", procedure, "--bench", bench),
            "doctor": ("doctor", "--bench", bench),
            "verify": ("calibrate", procedure, "--bench", bench, "--records", files / "r"),
        }
        for name in commands or every:
            outcome = ohmwright(*every[name])
            assert outcome.code == 2, (name, outcome.err)
            assert "Traceback" not in outcome.err
            told.append(outcome.err + outcome.out)
        return told

    return call


def without(path: Path, *verbs: str) -> None:
    lines = path.read_text(encoding="utf-8").splitlines()
    kept = [line for line in lines if not any(line.startswith(f"{verb} =") for verb in verbs)]
    assert len(kept) == len(lines) - len(verbs)
    path.write_text("\n".join(kept), encoding="utf-8")


def test_the_whole_bench_is_in_order(ohmwright: Callable, files: Path, procedure: Path) -> None:
    outcome = ohmwright("lint", procedure, "--bench", files / "bench.toml")
    assert (outcome.code, "by its files" in outcome.out) == (0, True)
    assert ohmwright("doctor", "--bench", files / "bench.toml").code == 0


@pytest.mark.parametrize("name", ["analyzer-commands.toml", "generator-commands.toml"])
def test_a_command_set_that_is_no_toml(refused: Callable, files: Path, name: str) -> None:
    (files / name).write_text("name = \n", encoding="utf-8")
    for told in refused():
        assert f"{files / name}:1:8: this is not valid TOML" in told


@pytest.mark.parametrize("who", ["analyzer", "generator"])
def test_a_command_set_that_is_not_there(refused: Callable, files: Path, who: str) -> None:
    (files / f"{who}-commands.toml").unlink()
    place = f"{files / who}.toml:6:1"
    for told in refused():
        assert f"{place}: there is no command set '{who}-commands.toml'" in told


@pytest.mark.parametrize(("who", "line"), [("analyzer", 5), ("generator", 10)])
def test_a_data_file_that_is_not_there(refused: Callable, files: Path, who: str, line: int) -> None:
    (files / f"{who}.toml").unlink()
    for told in refused():
        assert f"{files / 'bench.toml'}:{line}:1: there is no data file '{who}.toml'" in told


@pytest.mark.parametrize("verb", ["identify", "set_load", "on", "off", "state", "fetch_current"])
def test_what_no_analyzer_can_do_without(refused: Callable, files: Path, verb: str) -> None:
    without(files / "analyzer-commands.toml", verb)
    for told in refused():
        assert f"does not say how to '{verb}'" in told


def test_a_generator_with_a_link_and_no_command_set(refused: Callable, files: Path) -> None:
    path = files / "generator.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('command_set = "generator-commands.toml"', ""), encoding="utf-8")
    for told in refused():
        assert "the generator has no command set, yet the bench gives it a link" in told


def test_simulated_hardware_without_physics(refused: Callable, files: Path) -> None:
    path = files / "generator.toml"
    text = path.read_text(encoding="utf-8").partition("[data]")
    assert "command_set" in text[2]
    data = text[2].partition("[[waveform")[0]
    path.write_text(text[1] + data.partition("[physics")[0], encoding="utf-8")
    for told in refused():
        assert str(path) in told


@pytest.mark.parametrize(
    ("name", "verb", "step"),
    [
        ("analyzer", "fetch_leakage", "leakage"),
        ("analyzer", "set_contact", "contact"),
        ("analyzer", "fetch_waveform", "crest"),
        ("analyzer", "waveform_scale", "crest"),
        ("generator", "select_mode", "cut"),
        ("generator", "set_power", "leakage"),
        ("generator", "contact_alarm", "contact"),
        ("generator", "set_trim", "cut-current"),
        ("generator", "store", "cut-current"),
    ],
)
def test_what_a_step_cannot_do_without(
    refused: Callable, files: Path, procedure: Path, name: str, verb: str, step: str
) -> None:
    without(files / f"{name}-commands.toml", verb)
    lint, doctor, run = refused()
    for told in (lint, run):
        assert f"step '{step}': the {name}'s command set has no '{verb}'" in told
        assert str(procedure) in told
    assert "NOT GOOD" in doctor
    assert f"its command set has no '{verb}'" in " ".join(doctor.replace("│", " ").split())


def test_nobody_is_there_to_join_the_input(
    ohmwright: Callable, files: Path, procedure: Path
) -> None:
    without(files / "analyzer-commands.toml", "set_path")
    whole = ("--bench", files / "bench.toml", "--unattended")
    for outcome in (
        ohmwright("lint", procedure, *whole),
        ohmwright("calibrate", procedure, *whole, "--records", files / "r"),
    ):
        assert outcome.code == 2
        assert "step 'leakage': the command set has no 'set_path', so a person" in outcome.err
        assert "another bench; with a person there leave out --unattended." in outcome.err


def test_a_limit_that_only_the_data_know_of(refused: Callable, files: Path) -> None:
    path = files / "analyzer-commands.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("STATe ON,{limit_s:.3f}", "STATe ON"), encoding="utf-8")
    for told in refused():
        assert "carries none ({limit_s})" in " ".join(told.split())


def test_doctor_does_not_call_good_what_it_did_not_see(ohmwright: Callable, files: Path) -> None:
    without(files / "analyzer-commands.toml", "load")
    findings = ohmwright("doctor", "--bench", files / "bench.toml", "--json").json
    states = {finding["check"]: finding["state"] for finding in findings}
    for check in ("OFF ends an activation", "ends an activation by itself", "sets every load"):
        assert states[check] == "not checked"
    assert states["output reads off"] == "good"


def test_a_file_name_that_no_file_can_have(refused: Callable, files: Path) -> None:
    bench = files / "bench.toml"
    text = bench.read_text(encoding="utf-8")
    bench.write_text(text.replace("analyzer.toml", "a" * 300), encoding="utf-8")
    for told in refused():
        assert "there is no data file" in told


def test_brackets_in_a_name_are_shown_as_they_are(
    ohmwright: Callable, files: Path, procedure: Path
) -> None:
    named = procedure.rename(procedure.parent / "a [red] [bold] :cat:.toml")
    outcome = ohmwright("lint", named)
    assert (outcome.code, str(named) in outcome.out) == (0, True)


def test_samples_too_far_apart_for_a_crest_factor(refused: Callable, files: Path) -> None:
    path = files / "analyzer.toml"
    text = path.read_text(encoding="utf-8")
    assert "\nsample_rate_hz = 20e6\nbandwidth_hz" in text
    path.write_text(text.replace("= 20e6\nbandwidth_hz", "= 2e6\nbandwidth_hz"), encoding="utf-8")
    for told in refused("lint", "verify"):
        said = " ".join(told.split())
        assert "step 'crest': 4.44 samples a period of coag's 450 kHz may miss 36 %" in said
        assert "that takes 5.66 samples a period" in said


def test_a_digitiser_of_an_analyzer_that_captures_nothing(refused: Callable, files: Path) -> None:
    path = files / "analyzer.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("waveform = true", "waveform = false"), encoding="utf-8")
    for told in refused():
        assert "the table digitiser needs waveform = true" in " ".join(told.split())
