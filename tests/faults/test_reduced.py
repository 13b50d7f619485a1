"""The reduced fault harness holds, and fails where the program is made worse."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

HARNESS = Path(__file__).parents[2] / "scripts" / "faults"

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the harness forks")


def harness(*options: str) -> tuple[int, list[dict[str, object]]]:
    command = [sys.executable, str(HARNESS), "--reduced", "--seed", "3", "--json", *options]
    done = subprocess.run(command, capture_output=True, text=True, timeout=170, check=False)
    assert done.returncode in (0, 1), done.stderr
    return done.returncode, json.loads(done.stdout)["rows"]


def test_every_rule_holds() -> None:
    code, rows = harness()
    assert code == 0, [row["replays"] for row in rows]
    assert all(row["tried"] for row in rows)
    assert sum(str(row["fault"]).startswith("engine killed") for row in rows) == 7


@pytest.mark.parametrize(("mutation", "part"), [("shield", "compound"), ("read-back", "messages")])
def test_a_worse_program_is_noticed(mutation: str, part: str) -> None:
    code, rows = harness("--only", part, "--mutate", mutation)
    assert code == 1
    failed = "left_on" if mutation == "shield" else "wrong_values"
    assert any(row[failed] for row in rows)


def test_a_failure_is_replayed() -> None:
    trial = "messages/short/3/analyzer:lose:message:once:525"
    command = [sys.executable, str(HARNESS), "--replay", trial]
    worse = subprocess.run([*command, "--mutate", "read-back"], capture_output=True, check=False)
    sound = subprocess.run(command, capture_output=True, check=False)
    assert (worse.returncode, sound.returncode) == (1, 0)


def test_a_guard_that_does_nothing_leaves_rf_on() -> None:
    trial = "kills/KILL/3/2"
    command = [sys.executable, str(HARNESS), "--replay", trial, "--mutate", "guard"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=100, check=False)
    assert done.returncode == 1, done.stderr
    assert json.loads(done.stdout)["left_on"]
