"""A real bench, whose instruments have messages of their own, is simulated all the same."""

from pathlib import Path

import pytest

from ohmwright.api.bench_data import read_bench
from ohmwright.api.simulated_commands import simulated_commands
from ohmwright.model.errors import SourceError
from ohmwright.model.shipped import shipped
from ohmwright.rehearsal.from_files import rehearse
from ohmwright.testing.mark import Mark
from ohmwright.testing.procedure_bench import ProcedureBench
from tests.cli.guide.conftest import examples

BENCH = """
name = "Back room"
[analyzer]
data = "my-analyzer.toml"
link = { kind = "serial", port = "serial=A1B2C3" }
[generator]
data = "generator.toml"
link = { kind = "tcp", port = 5025 }
[asset]
id = "HF-017"
maker = "Tessenhove"
model = "Quillon 300"
serial = "TQ3-20417"
"""
PROCEDURE = """
title = "Cut"
revision = "1"
model = "Quillon 300"
[[step]]
kind = "output"
name = "cut-rated"
mode = "cut"
setting_w = 155
load_ohm = 500
power_w = 155
tolerance = { percent = 20 }
"""


@pytest.fixture
def real(tmp_path: Path) -> Path:
    """A bench of the guide's own analyzer and a generator with the guide's own messages."""
    for page in ("analyzers", "generators"):
        for example in examples(page):
            if len(example.words) == 3:
                (tmp_path / example.words[2]).write_text(example.text, encoding="utf-8")
    text = shipped("generators", "quillon-300.toml").read_text(encoding="utf-8")
    own = text.replace('"scpi-1999-generator"', '"my-generator-commands.toml"')
    assert own != text
    (tmp_path / "generator.toml").write_text(own, encoding="utf-8")
    (tmp_path / "cut.toml").write_text(PROCEDURE, encoding="utf-8")
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    return tmp_path / "bench.toml"


def without(path: Path, *lines: str) -> None:
    """Take lines out of a file; each must be in it."""
    text = path.read_text(encoding="utf-8")
    for line in lines:
        assert f"{line}\n" in text
        text = text.replace(f"{line}\n", "")
    path.write_text(text, encoding="utf-8")


def test_it_is_rehearsed(real: Path) -> None:
    done = rehearse(real.parent / "cut.toml", real, units=2, workers=1)
    assert [(one.verdict, one.problem) for one in done.outcomes] == [("pass", "")] * 2


def test_one_whose_on_carries_no_limit_is_rehearsed(real: Path) -> None:
    folder = real.parent
    without(folder / "my-analyzer.toml", "[data.activation]", "max_limit_s = 60")
    commands = folder / "my-analyzer-commands.toml"
    text = commands.read_text(encoding="utf-8")
    assert "CLOSE {limit_s:.1f}" in text
    commands.write_text(text.replace("CLOSE {limit_s:.1f}", "CLOSE"), encoding="utf-8")
    done = rehearse(folder / "cut.toml", real, units=1, workers=1)
    assert [(one.verdict, one.problem) for one in done.outcomes] == [("pass", "")]


def test_it_is_simulated_for_a_test_of_a_procedure(real: Path, tmp_path: Path) -> None:
    bench = ProcedureBench.opened(tmp_path, tmp_path, tmp_path / "kept", Mark(bench=str(real)))
    assert bench.run("cut.toml").verdict == "pass"


def test_what_stands_in_can_do_what_the_own_messages_can_and_no_more(real: Path) -> None:
    data = read_bench(real)
    assert data.analyzer_commands is not None
    own = data.analyzer_commands.verbs
    analyzer, generator = simulated_commands(data)
    assert analyzer is not None
    assert generator is not None
    assert not own & {"ceiling", "contact"}
    assert analyzer.verbs == own | {"error"}  # the open form tells refusals by that alone
    assert "contact_alarm" not in generator.verbs
    assert {"select_mode", "set_trim"} <= generator.verbs


@pytest.mark.parametrize("who", ["analyzer", "generator"])
def test_own_messages_on_a_simulated_link_are_refused_before_anything_is_sent(
    real: Path, who: str
) -> None:
    text = real.read_text(encoding="utf-8")
    for link in ('{ kind = "serial", port = "serial=A1B2C3" }', '{ kind = "tcp", port = 5025 }'):
        text = text.replace(link, '{ kind = "simulated" }')
    if who == "generator":
        text = text.replace('"my-analyzer.toml"', '"gantry-400"')
    real.write_text(f"{text}[simulation]\nseed = 1\n", encoding="utf-8")
    with pytest.raises(SourceError) as caught:
        read_bench(real)
    assert "does not understand command set" in str(caught.value)
    assert f"command_set = 'scpi-1999-{who}'" in str(caught.value)


def test_a_unit_without_physics_is_told_what_it_lacks(real: Path) -> None:
    path = real.parent / "generator.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index("[physics]")], encoding="utf-8")
    with pytest.raises(SourceError, match=r"has no table \[physics\]") as caught:
        rehearse(real.parent / "cut.toml", real, units=1, workers=1)
    assert "ohmwright guide generators" in str(caught.value)
