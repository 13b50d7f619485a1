"""`--fault`: how a run on simulated hardware meets what can befall its lines."""

from collections.abc import Callable
from pathlib import Path

import pytest

from .conftest import simulated


def values(outcome: object) -> list[float]:
    return [result["measured"]["value"] for result in outcome.json["results"]]


def test_lost_and_garbled_replies_change_no_value(
    ohmwright: Callable, procedure: Path, tmp_path: Path
) -> None:
    def verify(*faults: str) -> object:
        options = [option for fault in faults for option in ("--fault", fault)]
        (tmp_path / str(len(faults))).mkdir()
        with simulated(tmp_path / str(len(faults)), "--tcp", "--stepped", *options) as bench:
            place = ("--bench", bench, "--records", tmp_path / "records")
            return ohmwright("verify", procedure, *place, "--unattended", "--json")

    sound = verify()
    faulty = verify("lose:reply:once:60", "digit:reply:once:101", "generator:lose:reply:once:2")
    assert faulty.code == sound.code == 1
    assert values(faulty) == pytest.approx(values(sound), rel=0.01)
    assert faulty.out != sound.out  # they did strike


@pytest.fixture
def demo(ohmwright: Callable, tmp_path: Path) -> Callable:
    return lambda fault: ohmwright("demo", "--records", tmp_path, "--json", "--fault", fault)


def test_unplugged_with_rf_on_ends_in_the_code_for_an_unknown_state(demo: Callable) -> None:
    outcome = demo("analyzer:unplug:message:ever:90")
    assert outcome.code == 5
    assert "RF MAY STILL BE ON" in outcome.err
    assert "Go on with: the command that began it, with --resume" in outcome.err


def test_unplugged_with_rf_off_is_a_lost_line(demo: Callable) -> None:
    outcome = demo("unplug:message:ever:2")
    assert (outcome.code, "it was unplugged" in outcome.err) == (3, True)


def test_the_generators_line_fails_too(demo: Callable) -> None:
    outcome = demo("generator:unplug:message:ever:1")
    assert (outcome.code, "simulated generator" in outcome.err) == (3, True)


@pytest.mark.parametrize(
    "text", ["rust:reply:once:1", "lose:reply:once:0", "lamp:lose:reply:once:1", "lose"]
)
@pytest.mark.parametrize("command", [("demo",), ("simulate", "--tcp")])
def test_no_fault(ohmwright: Callable, command: tuple, text: str) -> None:
    outcome = ohmwright(*command, "--fault", text)
    assert outcome.code == 2
    assert f"'{text}' is no fault." in outcome.err
    assert "masquerade" in outcome.err


@pytest.mark.parametrize("command", ["calibrate", "verify", "sweep", "doctor"])
def test_a_bench_that_may_be_real_is_not_made_to_fail(ohmwright: Callable, command: str) -> None:
    outcome = ohmwright(command, "--fault", "lose:reply:once:1")
    assert outcome.code == 2
    assert "No such option: --fault" in outcome.err
