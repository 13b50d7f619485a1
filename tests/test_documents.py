"""What documents for developers name is there: modules, tests, scripts."""

import re
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
PACKAGE = ROOT / "src" / "ohmwright"
DEVELOPERS = ROOT / "DEVELOPERS.md"
ROOMS = sorted(path for path in PACKAGE.glob("*/__init__.py"))
RECIPE_FILES = {"engine/steps/rise_time.py"}
"""Files that a recipe has its reader make."""


def test_nothing_else_lies_at_the_top() -> None:
    """A command that writes files was once tried there, and what it wrote was committed."""
    command = ["git", "ls-files", "-z"]
    try:
        listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("no repository")
    top = {name.partition("/")[0] for name in listed.stdout.split("\0") if name}
    files = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE"}
    folders = {"src", "sim_profiles", "scripts", "tests"}
    assert {name for name in top if not name.startswith(".")} <= files | folders


def exists(name: str) -> bool:
    """Whether `name` is a file or folder of the root or the package, or a module of the package."""
    bare = name.rstrip("/")
    places = [base / each for base in (ROOT, PACKAGE) for each in (bare, f"{bare}.py")]
    return any(place.exists() for place in places)


def paths_in_backticks(text: str) -> Iterator[str]:
    """Every `folder/module` or `folder/` in backticks, without what follows the path."""
    for quoted in re.findall(r"`([^`\n]+)`", text):
        path = quoted.split()[0].removeprefix(".venv/bin/")
        if re.fullmatch(r"[a-z_]+/[\w./-]*", path):
            yield path


def reading_order(docstring: str) -> Iterator[str]:
    """The modules listed under "Read in this order:", before the words on each."""
    listed = docstring.partition("ead in this order:\n\n")[2].partition("\n\n")[0]
    for line in listed.splitlines():
        names = re.match(r"    ([a-z_0-9/.*]+(?:, [a-z_0-9/.]+)*)(,?$|  +| and )", line)
        if names is not None:
            yield from names.group(1).split(", ")


def held_by(docstring: str, room: str) -> Iterator[str]:
    """Every tests/... and scripts/... path; a bare test_....py is one of the room's own tests."""
    for path in re.findall(r"(?:tests|scripts)/[\w/]+(?:\.py)?|\btest_\w+\.py", docstring):
        yield path if "/" in path else f"tests/{room}/{path}"


def named_tests(docstring: str) -> set[str]:
    """Every test that is named as a function."""
    return set(re.findall(r"(?<![\w/])test_\w+\b(?!\.py)", docstring))


def test_paths_in_developers_md_exist() -> None:
    named = set(paths_in_backticks(DEVELOPERS.read_text(encoding="utf-8")))
    assert len(named) > 30
    assert {name for name in named - RECIPE_FILES if not exists(name)} == set()


def test_stations_of_the_ways_exist() -> None:
    """The two ways, of a reading and of a command: `room/module, module   what happens there`."""
    ways = DEVELOPERS.read_text(encoding="utf-8").partition("### The way of a reading")[2]
    ways = ways.partition("\n## ")[0]
    lines = re.findall(r"^    (\w+/\w+(?:, [\w/]+)*)  ", ways, flags=re.MULTILINE)
    assert len(lines) > 10
    for line in lines:
        room = ""
        for station in line.split(", "):
            room = station.rpartition("/")[0] or room
            assert exists(f"{room}/{station.rpartition('/')[2]}"), station


@cache
def all_tests() -> frozenset[str]:
    """The name of every test function."""
    sources = (path.read_text(encoding="utf-8") for path in (ROOT / "tests").rglob("test_*.py"))
    return frozenset(re.findall(r"def (test_\w+)\(", "".join(sources)))


@pytest.mark.parametrize("room", ROOMS, ids=lambda path: path.parent.name)
def test_a_room_names_all_its_modules_and_what_exists(room: Path) -> None:
    docstring = room.read_text(encoding="utf-8")
    name = room.parent.name
    missing = [each for each in reading_order(docstring) if not exists(f"{name}/{each}")]
    missing += [path for path in held_by(docstring, name) if not exists(path)]
    missing += named_tests(docstring) - all_tests()
    assert missing == []
    modules = {path.stem for path in room.parent.glob("*.py")} - {"__init__"}
    assert {each for each in modules if not re.search(rf"\b{each}\b", docstring)} == set()


def test_what_is_gone_is_noticed() -> None:
    assert list(paths_in_backticks("`engine/gone.py` and `a b`, `x`")) == ["engine/gone.py"]
    assert list(reading_order("Read in this order:\n\n    gone, more   words\n\nEnd")) == [
        "gone",
        "more",
    ]
    docstring = "Held by tests/cli/test_a.py and test_b.py, test_of_b."
    assert list(held_by(docstring, "wire")) == ["tests/cli/test_a.py", "tests/wire/test_b.py"]
    assert named_tests(docstring) == {"test_of_b"}
    assert not exists("engine/gone.py")
