"""`--fault`: how a run on simulated hardware meets what can befall its lines."""

from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped

DEMO = shipped("benches", "demo.toml")


@pytest.fixture
def verify(ohmwright: Callable, procedure: Path, tmp_path: Path) -> Callable:
    def call(*faults: str, bench: str = "demo") -> object:
        options = [option for fault in faults for option in ("--fault", fault)]
        place = ("--bench", shipped("benches", f"{bench}.toml"), "--records", tmp_path / "records")
        return ohmwright("verify", procedure, *place, "--unattended", "--json", *options)

    return call


def values(outcome: object) -> list[float]:
    return [result["measured"]["value"] for result in outcome.json["results"]]


def test_lost_and_garbled_replies_change_no_value(verify: Callable) -> None:
    sound = verify()
    faulty = verify("lose:reply:once:60", "digit:reply:once:101", "generator:lose:reply:once:2")
    assert faulty.code == sound.code == 1
    assert values(faulty) == pytest.approx(values(sound), rel=0.01)
    assert faulty.out != sound.out  # they did strike


def test_unplugged_with_rf_on_ends_in_the_code_for_an_unknown_state(verify: Callable) -> None:
    outcome = verify("analyzer:unplug:message:ever:90")
    assert outcome.code == 5
    assert "RF MAY STILL BE ON" in outcome.err
    assert "Go on with: --resume" in outcome.err


def test_unplugged_with_rf_off_is_a_lost_line(verify: Callable) -> None:
    outcome = verify("unplug:message:ever:2")
    assert (outcome.code, "it was unplugged" in outcome.err) == (3, True)


def test_the_generators_line_fails_too(verify: Callable) -> None:
    outcome = verify("generator:unplug:message:ever:1")
    assert (outcome.code, "simulated generator" in outcome.err) == (3, True)


@pytest.mark.parametrize(
    "text", ["rust:reply:once:1", "lose:reply:once:0", "lamp:lose:reply:once:1", "lose"]
)
@pytest.mark.parametrize("command", [("demo",), ("simulate", "--tcp"), ("doctor", "--bench", DEMO)])
def test_no_fault(ohmwright: Callable, command: tuple, text: str) -> None:
    outcome = ohmwright(*command, "--fault", text)
    assert outcome.code == 2
    assert f"'{text}' is no fault." in outcome.err
    assert "masquerade" in outcome.err


def test_a_real_bench_is_not_made_to_fail(
    ohmwright: Callable, procedure: Path, tmp_path: Path
) -> None:
    bench = tmp_path / "real.toml"
    text = (
        DEMO.read_text(encoding="utf-8")
        .replace("simulated", "tcp")
        .replace('"tcp"', '"tcp", port = 9')
    )
    bench.write_text(text.partition("[simulation]")[0], encoding="utf-8")
    for command in (
        ("doctor", "--bench", bench),
        ("calibrate", procedure, "--bench", bench, "--records", tmp_path),
        ("sweep", "--bench", bench, "--mode", "cut", "--settings", "100"),
    ):
        outcome = ohmwright(*command, "--fault", "lose:reply:once:1")
        assert outcome.code == 2
        assert "--fault is for a bench that is simulated here" in outcome.err


def test_a_generator_without_a_line(verify: Callable) -> None:
    outcome = verify("generator:lose:reply:once:1", bench="attended")
    assert outcome.code == 2
    assert "a person works its generator" in outcome.err
