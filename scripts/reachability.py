"""What of src/ohmwright no entry point reaches: modules, classes, functions and methods.

Run: scripts/unused. Followed from the programs on is what the code that is reached names: of a
module only where it is imported, of a class by any name alike. So all that is listed is unused, but
not every method that is unused is listed. Exit code 1 where something is listed that `KEPT` does
not explain, and where `KEPT` explains what is used or gone.
"""

from __future__ import annotations

import ast
import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

SOURCE = Path(__file__).parents[1] / "src"
PROGRAMS = {
    *("ohmwright.__main__", "ohmwright.wire.guard.process", "ohmwright.cli.sound.helper"),
    "ohmwright.pytest_plugin",
}
FOUND_IN_FOLDER = ("ohmwright.records.migrations.", "ohmwright.engine.steps.")
"""Alembic, and the list of step kinds, look for modules here and for what is public in them."""
PASSIVE = {
    *("abstractmethod", "asynccontextmanager", "cache", "cached_property", "classmethod"),
    *("contextmanager", "dataclass", "lru_cache", "property", "runtime_checkable", "setter"),
    *("staticmethod", "wraps"),
}
"""Decorators that hand what they decorate to nobody: any other registers it, which is a use."""
NEVER_CALLS = {"ABC", "BaseModel", "Exception", "Generic", "NamedTuple", "Protocol", "TypedDict"}
"""Base classes from elsewhere that call no method of ours by a name of their own."""
_OUTSIDE = "what back ends in packages of their own are written with"
_FLEET = "questions of the fleet's reports to come, whose bar scripts/bench/store.py holds"
_PUBLIC = "public to programs of others; run by the guide's examples"
KEPT = {
    "ohmwright.__getattr__": "Python asks it for a public name",
    "ohmwright.__dir__": "Python asks it for the public names",
    "ohmwright.api.curve.Curve.to_pandas": _PUBLIC,
    "ohmwright.api.curve.Curve._repr_svg_": "a notebook calls it",
    "ohmwright.api.curve_difference.Comparison.to_pandas": _PUBLIC,
    "ohmwright.api.live_plot._Picture._repr_svg_": "a notebook calls it",
    "ohmwright.records.queries.history": _FLEET,
    "ohmwright.records.queries.population": _FLEET,
    "ohmwright.records.queries.with_verdict": _FLEET,
    "ohmwright.records.queries._of_model": _FLEET,
    "ohmwright.back_ends": _OUTSIDE,
    "ohmwright.instruments.back_ends.line.InstrumentLine": _OUTSIDE,
    "ohmwright.instruments.back_ends.release_line.plain_orders": _OUTSIDE,
    "ohmwright.pytest_plugin": "pytest calls its hooks by their names",
    "ohmwright.testing.procedure_bench.ProcedureBench.run_async": "for tests of one's own",
}
"""Why something stays that nothing reaches; a name stands for all that is in it."""


@dataclass
class Item:
    """A module, class, function or method, and what its own code refers to."""

    name: str
    where: str
    parent: Item | None = None
    names: set[str] = field(default_factory=set)
    modules: set[str] = field(default_factory=set)
    registered: bool = False
    bases: set[str] = field(default_factory=set)
    is_class: bool = False

    @property
    def short(self) -> str:
        """What code calls it."""
        return self.name.rpartition(".")[2]

    @property
    def module(self) -> str:
        """The module that it is in."""
        return self.name if self.parent is None else self.parent.module


class Reader(ast.NodeVisitor):
    """Reads one module into items, the module itself first."""

    def __init__(self, name: str, package: tuple[str, ...], where: str) -> None:
        self.items = [Item(name, where)]
        self._owner, self._package, self._where = self.items[0], package, where

    def _define(self, node: ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) -> None:
        owner = self._owner
        if owner.parent is not None and not owner.is_class:  # inside a function: its own code
            self.generic_visit(node)
            return
        item = Item(f"{owner.name}.{node.name}", f"{self._where}:{node.lineno}", owner)
        item.registered = any(_last(each) not in PASSIVE for each in node.decorator_list)
        if isinstance(node, ast.ClassDef):
            item.is_class, item.bases = True, {_last(base) for base in node.bases}
        self.items.append(item)
        self._owner = item
        self.generic_visit(node)
        self._owner = owner

    visit_FunctionDef = visit_AsyncFunctionDef = visit_ClassDef = _define  # noqa: N815

    def visit_Name(self, node: ast.Name) -> None:
        self._owner.names.add(node.id)

    def visit_Attribute(self, node: ast.Attribute) -> None:
        self._owner.names.add(node.attr)
        self.generic_visit(node)

    def visit_Constant(self, node: ast.Constant) -> None:
        if isinstance(node.value, str):  # as for getattr and for `python -m`
            self._owner.names.add(node.value)
            self._owner.modules.add(node.value)

    def visit_Import(self, node: ast.Import) -> None:
        self._owner.modules.update(alias.name for alias in node.names)

    def visit_ImportFrom(self, node: ast.ImportFrom) -> None:
        base = self._package[: len(self._package) - node.level + 1] if node.level else ()
        module = ".".join((*base, *filter(None, [node.module])))
        self._owner.modules.add(module)
        self._owner.modules.update(f"{module}.{alias.name}" for alias in node.names)
        self._owner.names.update(alias.name for alias in node.names if alias.asname)


def _last(node: ast.expr) -> str:
    match node:
        case ast.Name(id=name) | ast.Attribute(attr=name):
            return name
        case ast.Call(func=inner) | ast.Subscript(value=inner):
            return _last(inner)
    return ""


def read(source: Path) -> Iterator[Item]:
    """Every item of the packages in folder `source`."""
    for path in sorted(source.rglob("*.py")):
        relative = path.relative_to(source)
        parts = relative.with_suffix("").parts
        name = ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
        reader = Reader(name, parts[:-1], str(relative))
        reader.visit(ast.parse(path.read_text(encoding="utf-8")))
        yield from reader.items


@dataclass
class Found:
    """What has been reached so far, and what that names."""

    items: set[str] = field(default_factory=set)
    names: set[str] = field(default_factory=set)
    modules: set[str] = field(default_factory=lambda: set(PROGRAMS))
    names_in: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    """What the reached code of each module names."""
    importers_of: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))

    def add(self, item: Item) -> None:
        """Follow it."""
        self.items.add(item.name)
        self.names |= item.names
        self.modules |= item.modules
        self.names_in[item.module] |= item.names
        for module in item.modules:
            self.importers_of[module].add(item.module)

    def named(self, item: Item) -> bool:
        """Whether code that can mean it calls it by its name."""
        if item.parent is None or item.parent.is_class:
            return item.short in self.names
        importers = self.importers_of[item.module] | self.importers_of[item.name]
        return any(item.short in self.names_in[module] for module in {item.module, *importers})


def reached(items: list[Item]) -> set[str]:
    """The names of the items that are reached."""
    classes = {item.short for item in items if item.is_class}
    found = Found()

    def is_reached(item: Item) -> bool:
        parent = item.parent
        in_folder = f"{item.module}.".startswith(FOUND_IN_FOLDER)
        if parent is None:
            return in_folder or any(f"{m}.".startswith(f"{item.name}.") for m in found.modules)
        if parent.name not in found.items:
            return False
        called_back = bool(parent.bases - classes - NEVER_CALLS)
        by_class = parent.is_class and (called_back or item.short.startswith("__"))
        looked_up = in_folder and parent.parent is None and not item.short.startswith("_")
        return looked_up or item.registered or by_class or found.named(item)

    before = -1
    while before < len(found.items):
        before = len(found.items)
        for item in items:
            if item.name not in found.items and is_reached(item):
                found.add(item)
    return found.items


def main() -> int:
    """Print what is not reached and not explained, and explanations that are not needed."""
    items = list(read(SOURCE))
    found = reached(items)
    unexplained, needless = [], set(KEPT)
    for item in items:
        if item.name in found or (item.parent is not None and item.parent.name not in found):
            continue
        why = {kept for kept in KEPT if f"{item.name}.".startswith(f"{kept}.")}
        needless -= why
        unexplained += [] if why else [f"{item.where}: {item.name} is reached by no program"]
    unneeded = [f"KEPT explains {kept}, which is used or gone" for kept in sorted(needless)]
    print(*unexplained, *unneeded, sep="\n", end="\n" if unexplained or unneeded else "")
    return int(bool(unexplained or unneeded))


if __name__ == "__main__":
    sys.exit(main())
