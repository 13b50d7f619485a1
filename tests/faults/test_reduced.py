"""The reduced fault harness holds, and fails where the program is made worse."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from scripts.faults.parts import PARTS

HARNESS = Path(__file__).parents[2] / "scripts" / "faults"

WITHIN_S = 900
"""For the harness on a machine that is busy with other things; a hang is told by it sooner."""

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the harness forks")


def harness(*options: str) -> tuple[int, list[dict[str, Any]]]:
    command = [sys.executable, str(HARNESS), "--reduced", "--seed", "3", "--json", *options]
    done = subprocess.run(command, capture_output=True, text=True, timeout=WITHIN_S, check=False)
    assert done.returncode in (0, 1), done.stderr
    return done.returncode, json.loads(done.stdout)["rows"]


@pytest.mark.parametrize("part", PARTS)
def test_every_rule_holds(part: str) -> None:
    code, rows = harness("--only", part, "--jobs", "1")
    assert code == 0, [row["replays"] for row in rows]
    assert all(row["tried"] for row in rows)


def test_a_shield_taken_away_is_noticed() -> None:
    code, rows = harness("--only", "compound", "--mutate", "shield")
    assert code == 1
    assert any(row["left_on"] for row in rows)


def test_a_read_back_taken_away_is_noticed_and_replayed() -> None:
    # a unit whose sample has a digit that only the read-back would show
    sample = ("--seed", "8", "--only", "messages", "--kind", "digit")
    code, rows = harness(*sample, "--mutate", "read-back")
    assert code == 1
    wrong = next(row for row in rows if row["wrong_values"])
    trial = wrong["replays"][0].partition("--replay ")[2].split()[0]
    command = [sys.executable, str(HARNESS), "--replay", trial]
    worse = subprocess.run([*command, "--mutate", "read-back"], capture_output=True, check=False)
    sound = subprocess.run(command, capture_output=True, check=False)
    assert (worse.returncode, sound.returncode) == (1, 0)


@pytest.mark.parametrize(
    ("trial", "mutation", "what"),
    [
        ("guard killed alone", "found-again", "left_on"),
        ("the machine asleep", "clocks", "undetected"),
        ("the machine asleep, its clock standing still", "clocks", "undetected"),
    ],
)
def test_what_is_seen_of_the_guard_s_end_and_of_a_sleep(
    trial: str, mutation: str, what: str
) -> None:
    command = [sys.executable, str(HARNESS), "--replay", f"guards/{trial}/3/0"]
    for _ in range(3):  # in real time something else may end the run first, and rightly
        worse = subprocess.run(
            [*command, "--mutate", mutation],
            capture_output=True,
            text=True,
            timeout=WITHIN_S,
            check=False,
        )
        if worse.returncode == 1:
            break
    assert worse.returncode == 1, worse.stderr
    assert json.loads(worse.stdout)[what]


def test_a_guard_that_does_nothing_is_refused_by_its_proof() -> None:
    trial = "kills/KILL/3/2"
    command = [sys.executable, str(HARNESS), "--replay", trial, "--mutate", "guard"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=WITHIN_S, check=False)
    assert done.returncode == 1, done.stderr
    assert "off to the guard, yet the output reads closed" in json.loads(done.stdout)["how"]
