"""The protections that data, command set and line of an analyzer give, before it is opened."""

from __future__ import annotations

from collections.abc import Iterable

from ohmwright.model.by_hand import HandVerb
from ohmwright.model.hardware import AnalyzerData
from ohmwright.model.protections import Protections
from ohmwright.wire.command_set import CommandSet


def declared_protections(
    data: AnalyzerData, commands: CommandSet, *, guarded: bool, harmless: bool = False
) -> Protections:
    """Return the protections of an analyzer that is worked through `commands`.

    `guarded`: whether a guard process owns its port; `harmless`: whether the hardware is invented.
    """
    sets_path = "set_path" in commands.tell
    return Protections(
        limit_in_on=commands.carries_limit,
        single_shot=data.activation.single_shot,
        ceiling="set_ceiling" in commands.tell and commands.can_ask("ceiling"),
        limit_read_back=commands.carries_limit and commands.can_ask("remaining"),
        guard=guarded,
        harmless=harmless,
        state_read_back=commands.can_ask("state"),
        load_read_back=commands.can_ask("load"),
        path_set=sets_path,
        path_read_back=sets_path and commands.can_ask("path"),
        line_proof=commands.can_ask("resynchronise"),
    )


_REPLACED: dict[HandVerb, tuple[str, ...]] = {
    "load": ("load_read_back",),
    "path": ("path_set", "path_read_back"),
    "contact": (),
    "foot switch": (
        *("limit_in_on", "single_shot", "ceiling", "limit_read_back"),
        *("guard", "harmless", "state_read_back"),
    ),
    "reading": (),
}
"""What a bench does not have where a person does the verb."""


def protections_by_hand(linked: Protections, by_hand: Iterable[HandVerb]) -> Protections:
    """Return `linked` without what is lost where a person does the verbs `by_hand`."""
    verbs = tuple(verb for verb in _REPLACED if verb in set(by_hand))
    lost = {name: False for verb in verbs for name in _REPLACED[verb]}
    return linked.model_copy(update={**lost, "by_hand": verbs})
