"""Profiles: the shipped ones, and complaints about wrong ones."""

from pathlib import Path

import pytest

from ohmwright.model.errors import SourceError
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.wire.clock import VirtualClock

GENERATORS = sorted(shipped("generators").glob("*.toml"))
ANALYZERS = sorted(shipped("analyzers").glob("*.toml"))


def test_there_are_enough() -> None:
    assert len(GENERATORS) >= 3
    assert len(ANALYZERS) >= 2


@pytest.mark.parametrize("generator", GENERATORS, ids=lambda path: path.stem)
@pytest.mark.parametrize("analyzer", ANALYZERS, ids=lambda path: path.stem)
def test_every_pair_makes_a_bench(generator: Path, analyzer: Path) -> None:
    SimulatedBench(
        load(analyzer, AnalyzerProfile),
        load(generator, GeneratorProfile),
        seed=1,
        clock=VirtualClock(),
    )


def test_data_can_be_read_alone() -> None:
    assert load(GENERATORS[0], GeneratorData, table="data").modes
    assert load(ANALYZERS[0], AnalyzerData, table="data").meter


@pytest.mark.parametrize(
    ("wrong", "right", "complaint"),
    [
        ("droop = [0.0, 0.015]", "droop = [0.015, 0.0]", "runs backwards"),
        ("dead_s = [0.2, 1.0]", "dead_ms = [0.2, 1.0]", "nearest valid key is 'dead_s'"),
        ('name = "cut power"\nsense', 'name = "cut pover"\nsense', "must be the same"),
        ("lag_s = [0.3, 1.5]", "lag_s = [0.0, 1.5]", "greater than 0"),
        ("contact_quality_monitor = true", "", "must agree"),
    ],
)
def test_complaints_have_a_place(tmp_path: Path, wrong: str, right: str, complaint: str) -> None:
    text = shipped("generators", "quillon-300.toml").read_text()
    assert wrong in text
    path = tmp_path / "mine.toml"
    path.write_text(text.replace(wrong, right))
    with pytest.raises(SourceError, match=complaint) as raised:
        load(path, GeneratorProfile)
    assert raised.match(r"mine\.toml:\d+:\d+: ")


def test_a_real_unit_on_a_simulated_bench_is_told_what_lacks(tmp_path: Path) -> None:
    file = tmp_path / "real.toml"
    file.write_text(GENERATORS[0].read_text().partition("[physics")[0])
    with pytest.raises(SourceError, match=r"no table \[physics\].*Simulated units"):
        load(file, GeneratorProfile)
