"""The same verification in process, over a pty through pyserial, over TCP through pyvisa-py."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped

from .conftest import simulated

DEMO_BENCH = shipped("benches", "demo.toml")


def through_visa(bench: Path) -> Path:
    """The same bench with both instruments reached as VISA socket resources."""
    text = bench.read_text(encoding="utf-8")
    pattern = r'^link = \{ kind = "tcp", host = "([\d.]+)", port = (\d+) \}'
    resource = r'link = { kind = "visa", resource = "TCPIP::\1::\2::SOCKET" }'
    bench.write_text(re.sub(pattern, resource, text, flags=re.M), encoding="utf-8")
    return bench


@pytest.mark.parametrize("line", ["--pty", "--tcp"])
def test_the_same_seed_gives_the_same_verdicts_in_another_process(
    ohmwright: Callable, procedure: Path, tmp_path: Path, line: str
) -> None:
    def verified(bench: Path) -> list[dict[str, object]]:
        arguments = ("--bench", bench, "--records", tmp_path / "r", "--unattended", "--json")
        return ohmwright("verify", procedure, *arguments).json["results"]

    here = verified(DEMO_BENCH)
    with simulated(tmp_path, line, "--stepped") as bench:
        if line == "--tcp":
            through_visa(bench)
        there = verified(bench)
    assert [(r["point"], r["verdict"]) for r in there] == [
        ("100 ohm", "fail"),
        ("500 ohm", "pass"),
    ]
    for ours, theirs in zip(here, there, strict=True):
        assert theirs["verdict"] == ours["verdict"]
        assert theirs["measured"]["value"] == pytest.approx(ours["measured"]["value"], rel=1e-9)


def test_in_real_time_too(ohmwright: Callable, procedure: Path, tmp_path: Path) -> None:
    text = procedure.read_text(encoding="utf-8")
    short = text.replace("[100, 500]", "[100]").replace("[81.0, 296.7]", "[81.0]")
    procedure.write_text(short, encoding="utf-8")
    with simulated(tmp_path, "--pty") as bench:
        arguments = ("--bench", bench, "--records", tmp_path / "r", "--unattended", "--json")
        outcome = ohmwright("verify", procedure, *arguments)
    assert (outcome.code, outcome.json["verdict"]) == (1, "fail")
