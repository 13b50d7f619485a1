"""Conformance checks of a generator's port, with RF off: identity, modes, adjustment points."""

from __future__ import annotations

from collections.abc import Awaitable, Callable

from .conformance_kit import Observed, good, not_checked, wrong
from .generator import Generator

_LOW_W = 5.0
GeneratorCheck = Callable[[Generator], Awaitable[Observed]]


async def generator_identifies_itself(generator: Generator) -> Observed:
    """Check that the identity is a text that stays the same."""
    first, second = await generator.identify(), await generator.identify()
    if not first or first != second:
        return wrong(f"identity {first!r}, then {second!r}")
    return good(f"'{first}', twice")


async def chooses_every_mode(generator: Generator) -> Observed:
    """Check that each mode of its data is accepted at a low setting, and read back."""
    modes = generator.data.modes
    for mode in modes:
        await generator.select(mode.name, min(_LOW_W, mode.max_setting_w))
    if not _tells(generator, "mode", "power"):
        return not_checked(f"all {len(modes)} were taken; it cannot tell which is chosen")
    return good(f"{len(modes)} modes, each read back with its setting")


async def tells_every_trim(generator: Generator) -> Observed:
    """Check that each adjustment point tells a trim in the range of its data; nothing is saved."""
    if generator.data.service is None:
        return not_checked("it has no service mode")
    found: list[str] = []
    try:
        for point in generator.data.service.points:
            trim = await generator.enter_service(point.name)
            found.append(f"{point.name} {trim}")
            if not point.min_trim <= trim <= point.max_trim:
                return wrong(f"{found[-1]}, and its range is {point.min_trim} to {point.max_trim}")
    finally:
        await generator.leave_unsaved()
    return good(f"{', '.join(found)}; left without saving")


def _tells(generator: Generator, *questions: str) -> bool:
    return generator.verbs is not None and generator.verbs.issuperset(questions)


GENERATOR_CHECKS: tuple[GeneratorCheck, ...] = (
    generator_identifies_itself,
    chooses_every_mode,
    tells_every_trim,
)
