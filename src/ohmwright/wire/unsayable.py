"""What a command set would say in vain; it is refused, and told what to do instead."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

_HOLDS_ON = re.compile(r"repeat|hold|keep|alive|heart|watchdog|dead_?man|refresh|again")
REFUSED = (
    "an output that drops out unless it is told again is no matter for data: ON is never repeated, "
    "since a repeated one could come after OFF; 'ohmwright guide command_sets' says what to do "
    "instead, under 'What data cannot say'"
)


def held_by_repeats(data: Mapping[str, Any]) -> Iterator[tuple[str, ...]]:
    """Yield the place of each key by which a message seems meant to hold the output on."""
    tell = data.get("tell")
    tables: list[tuple[tuple[str, ...], Any]] = [((), data), (("tell",), tell)]
    if isinstance(tell, Mapping):
        tables += [(("tell", verb), tell[verb]) for verb in tell]
    for place, table in tables:
        if isinstance(table, Mapping):
            yield from ((*place, str(key)) for key in table if _HOLDS_ON.search(str(key)))
