"""Rules of the house that the source itself must keep."""

import ast
from pathlib import Path

import ohmwright

SOURCE = Path(ohmwright.__file__).parent


def calls_of(name: str) -> set[str]:
    """The modules that call something named `name`, but for a verb that hands on its own call."""
    found = set()
    for path in SOURCE.rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        verbs = [
            n for n in ast.walk(tree) if isinstance(n, ast.AsyncFunctionDef) and n.name == name
        ]
        handed_on = {call for verb in verbs for call in ast.walk(verb)}
        for node in ast.walk(tree):
            named = isinstance(node, ast.Call) and getattr(node.func, "attr", "") == name
            if named and node not in handed_on:
                found.add(path.relative_to(SOURCE).as_posix())
    return found


def test_only_the_activation_block_switches_on() -> None:
    assert calls_of("switch_on") == {"engine/activation.py"}


def test_only_analyzers_behind_a_command_set_or_a_back_end_say_on() -> None:
    tells = set()
    for path in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if (
                isinstance(node, ast.Call)
                and getattr(node.func, "attr", "") == "tell"
                and node.args
                and isinstance(node.args[0], ast.Constant)
                and node.args[0].value == "on"
            ):
                tells.add(path.relative_to(SOURCE).as_posix())
    assert tells == {"instruments/remote_analyzer.py", "instruments/back_ends/analyzer.py"}


def test_no_event_is_yielded_inside_an_activation() -> None:
    for path in (SOURCE / "engine").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.AsyncWith) and "activation" in ast.dump(node.items[0]):
                inside = [n for part in node.body for n in ast.walk(part)]
                yields = [
                    n
                    for n in inside
                    if isinstance(n, ast.Yield) and path.stem not in ("activation", "session")
                ]
                assert not yields, f"{path}: a yield inside an activation"


def test_the_engine_knows_nothing_of_simulation() -> None:
    for room in ("engine", "instruments", "wire"):
        for path in (SOURCE / room).rglob("*.py"):
            names = {
                getattr(node, "id", getattr(node, "attr", ""))
                for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            }
            assert not any("simulat" in name.lower() for name in names), path
