"""One class name, one thing: a name that two modules define is in a table, with the reason."""

import ast
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

PACKAGE = Path(__file__).parent.parent / "src" / "ohmwright"

ARRAYS = "shorthand for numpy arrays of one element type"
SHARED = {
    "Flags": ARRAYS,
    "FloatArray": ARRAYS,
    "Floats": ARRAYS,
    "Key": "the coarse or fine key of a trim; the simulator has its own side of the bench",
    "OutputLimits": "current, power and voltage limit; the simulator shares no code with estimates",
    "Sense": "a sense of a generator; estimation is pure, and the simulator has its own side",
}
"""Names of one thing that several modules define, and why none of them imports another's."""


def names(source: str) -> Iterator[str]:
    """Public classes of a module, and the types that it names by an assignment (`Key = ...`)."""
    for node in ast.parse(source).body:
        match node:
            case ast.ClassDef(name=name):
                yield name
            case ast.Assign(targets=[ast.Name(id=name)]) if (
                name[0].isupper() and not name.isupper()
            ):
                yield name


def defined() -> dict[str, list[str]]:
    """The modules that define each public name."""
    places: dict[str, list[str]] = defaultdict(list)
    for path in sorted(PACKAGE.rglob("*.py")):
        for name in names(path.read_text(encoding="utf-8")):
            if not name.startswith("_"):
                places[name].append(str(path.relative_to(PACKAGE)))
    return places


def test_a_name_defined_twice_is_one_thing() -> None:
    twice = {name: places for name, places in defined().items() if len(places) > 1}
    assert {name: places for name, places in twice.items() if name not in SHARED} == {}
    assert set(SHARED) <= set(twice), "not shared any more: take it out of the table"


def test_classes_and_named_types_are_seen() -> None:
    source = "class One: ...\nTwo = Literal['a']\nTHREE = 3\nfour = 4\ndef Five(): ...\n"
    assert list(names(source)) == ["One", "Two"]
