"""Back ends that other packages have installed, found by their entry points."""

from __future__ import annotations

import inspect
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points
from typing import Generic, TypeVar

from ohmwright.model.errors import SourceError

from .base import AnalyzerBackEnd, BackEnd, GeneratorBackEnd

ANALYZERS = "ohmwright.analyzers"
GENERATORS = "ohmwright.generators"
B = TypeVar("B", bound=BackEnd)


@dataclass(frozen=True)
class InstalledBackEnd(Generic[B]):
    """A back end that was found, with what a record keeps of it."""

    name: str
    factory: type[B]
    package: str
    """Package and version that it came with."""

    @property
    def source(self) -> str:
        """Where it came from and the text of its class, as far as there is one."""
        try:
            text = inspect.getsource(inspect.getmodule(self.factory) or self.factory)
        except (OSError, TypeError):
            text = "(its source text is not there)\n"
        return f"# back end '{self.name}' of {self.package}\n{text}"


def analyzer_back_end(name: str, where: str) -> InstalledBackEnd[AnalyzerBackEnd]:
    """The analyzer back end called `name` in the file `where`. Raises SourceError."""
    return _found(name, where, ANALYZERS, AnalyzerBackEnd)  # type: ignore[type-abstract]


def generator_back_end(name: str, where: str) -> InstalledBackEnd[GeneratorBackEnd]:
    """The generator back end called `name` in the file `where`. Raises SourceError."""
    return _found(name, where, GENERATORS, GeneratorBackEnd)  # type: ignore[type-abstract]


def _found(name: str, where: str, group: str, base: type[B]) -> InstalledBackEnd[B]:
    known = entry_points(group=group)
    named = [point for point in known if point.name == name]
    if len(named) != 1:
        others = ", ".join(sorted({point.name for point in known})) or "none"
        many = ", ".join(sorted(map(_package, named)))
        raise SourceError(
            f"{where}: {'more than one' if named else 'no'} back end '{name}' is installed"
            f"{f' ({many})' if named else ''}.",
            f"Installed under '{group}': {others}.",
            "Install its package beside ohmwright, or correct 'backend'.",
        )
    factory = _loaded(named[0], where)
    if not (isinstance(factory, type) and issubclass(factory, base)):
        raise _unusable(named[0], where, f"it is no {base.__name__}")
    if inspect.isabstract(factory):
        missing = ", ".join(sorted(factory.__abstractmethods__))
        raise _unusable(named[0], where, f"it does not say how to {missing}")
    return InstalledBackEnd(name, factory, _package(named[0]))


def _loaded(point: EntryPoint, where: str) -> object:
    try:
        return point.load()
    except BaseException as problem:  # whatever stands in that package
        if isinstance(problem, KeyboardInterrupt):
            raise
        raise _unusable(point, where, f"{type(problem).__name__}: {problem}") from None


def _package(point: EntryPoint) -> str:
    return "an unnamed package" if point.dist is None else f"{point.dist.name} {point.dist.version}"


def _unusable(point: EntryPoint, where: str, why: str) -> SourceError:
    return SourceError(
        f"{where}: back end '{point.name}' of {_package(point)} cannot be used: {why}.",
        "Nothing was opened.",
        "Mend or update that package.",
    )
