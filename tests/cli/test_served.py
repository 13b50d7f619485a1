"""The same verification in process, over a pty through pyserial, over TCP through pyvisa-py."""

import re
import socket
import sys
import tomllib
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
    def verified(bench: Path, *options: str) -> list[dict[str, object]]:
        arguments = ("--bench", bench, "--records", tmp_path / "r", "--unattended", "--json")
        return ohmwright("verify", procedure, *arguments, *options).json["results"]

    expected = [("100 ohm", "fail"), ("500 ohm", "pass")]
    here = verified(DEMO_BENCH)
    with simulated(tmp_path, line, "--stepped") as bench:
        if line == "--tcp":
            through_visa(bench)
        there = verified(bench, "--no-guard")
        guarded = verified(bench)  # whose proof costs an activation, so that its noise is another
    assert [(r["point"], r["verdict"]) for r in guarded] == expected
    assert [(r["point"], r["verdict"]) for r in there] == expected
    for ours, theirs in zip(here, there, strict=True):
        assert theirs["measured"]["value"] == pytest.approx(ours["measured"]["value"], rel=1e-9)


def test_a_unit_without_a_port_is_served_by_a_bench_that_lint_takes(
    ohmwright: Callable, tmp_path: Path
) -> None:
    attended = shipped("benches", "attended.toml")
    with simulated(tmp_path, "--tcp", "--bench", str(attended)) as bench:
        assert "link" not in tomllib.loads(bench.read_text(encoding="utf-8"))["generator"]
        procedure = shipped("procedures", "attended-marlow.toml")
        linted = ohmwright("lint", procedure, "--bench", bench)
    assert (linted.code, linted.err) == (0, "")


@pytest.mark.parametrize("options", [(), ("--stepped",)])
def test_a_bench_that_names_no_certificate_says_why(
    tmp_path: Path, options: tuple[str, ...], capfd: pytest.CaptureFixture[str]
) -> None:
    with simulated(tmp_path, "--tcp", *options) as bench:
        named = "certificate" in tomllib.loads(bench.read_text(encoding="utf-8"))["analyzer"]
    words = capfd.readouterr().err
    assert named == ("--stepped" in options)
    assert ("names no analyzer certificate: CAL-25-1187" in words) == (not named)
    assert len(words.splitlines()) == (not named)


def test_a_file_is_not_written_over_unless_asked(ohmwright: Callable, tmp_path: Path) -> None:
    taken = tmp_path / "bench.toml"
    taken.write_text("mine")
    refused = ohmwright("simulate", "--tcp", "--write-bench", taken)
    assert (refused.code, "--overwrite" in refused.err) == (2, True)
    assert taken.read_text() == "mine"


def test_in_real_time_too(ohmwright: Callable, procedure: Path, tmp_path: Path) -> None:
    text = procedure.read_text(encoding="utf-8")
    short = text.replace("[100, 500]", "[100]").replace("[81.0, 305.6]", "[81.0]")
    procedure.write_text(short, encoding="utf-8")
    with simulated(tmp_path, "--pty") as bench:
        arguments = ("--bench", bench, "--records", tmp_path / "r", "--unattended", "--json")
        outcome = ohmwright("verify", procedure, *arguments)
    assert (outcome.code, outcome.json["verdict"]) == (1, "fail")


def reached(host: str, port: int) -> bool:
    try:
        socket.create_connection((host, port), timeout=5).close()
    except OSError:
        return False
    return True


@pytest.mark.skipif(sys.platform != "linux", reason="needs a second loopback address")
@pytest.mark.parametrize("asked", [False, True])
def test_time_and_truth_are_for_this_computer_alone_unless_asked(
    tmp_path: Path, asked: bool, capfd: pytest.CaptureFixture[str]
) -> None:
    options = ("--control-host", "0.0.0.0") if asked else ()
    with simulated(tmp_path, "--tcp", "--host", "0.0.0.0", "--stepped", *options) as file:
        bench = tomllib.loads(file.read_text(encoding="utf-8"))
    words = capfd.readouterr().err
    assert "Other computers can work the simulated instruments, on 0.0.0.0" in words
    assert ("read its truth, on 0.0.0.0" in words) == asked
    assert bench["analyzer"]["link"]["host"] == "0.0.0.0"
    assert bench["stepped_time"]["host"] == ("0.0.0.0" if asked else "127.0.0.1")


@pytest.mark.skipif(sys.platform != "linux", reason="needs a second loopback address")
def test_the_control_port_answers_on_loopback_only(tmp_path: Path) -> None:
    with simulated(tmp_path, "--tcp", "--host", "0.0.0.0", "--stepped") as file:
        bench = tomllib.loads(file.read_text(encoding="utf-8"))
        assert reached("127.0.0.2", bench["analyzer"]["link"]["port"])
        assert not reached("127.0.0.2", bench["stepped_time"]["port"])
        assert reached("127.0.0.1", bench["stepped_time"]["port"])
