"""The protections that data, command set and line of an analyzer give, before it is opened."""

from __future__ import annotations

from collections.abc import Iterable

from ohmwright.model.by_hand import HandVerb
from ohmwright.model.hardware import AnalyzerData
from ohmwright.model.protections import Protections
from ohmwright.wire.command_set import Verb


def declared_protections(
    data: AnalyzerData,
    verbs: frozenset[Verb],
    *,
    proved: bool,
    guarded: bool,
    harmless: bool = False,
) -> Protections:
    """Return the protections of an analyzer that has a message or a method for `verbs`.

    `proved`: whether its line can be proved; `guarded`: whether a guard process owns its port;
    `harmless`: whether the hardware is invented.
    """
    # `check_limit_agreement` refuses a command set that says otherwise
    limit = data.activation.max_limit_s is not None
    return Protections(
        limit_in_on=limit,
        single_shot=data.activation.single_shot,
        ceiling={"set_ceiling", "ceiling"} <= verbs,
        limit_read_back=limit and "remaining" in verbs,
        guard=guarded,
        harmless=harmless,
        state_read_back="state" in verbs,
        load_read_back="load" in verbs,
        path_set="set_path" in verbs,
        path_read_back={"set_path", "path"} <= verbs,
        line_proof=proved,
    )


_LOST: dict[HandVerb, tuple[str, ...]] = {
    "load": ("load_read_back",),
    "path": ("path_set", "path_read_back"),
    "contact": (),
    "foot switch": (
        "limit_in_on",
        "single_shot",
        "ceiling",
        "limit_read_back",
        "guard",
        "harmless",
        "state_read_back",
    ),
    "reading": (),
}
"""The protections that a bench loses where a person does the verb."""


def protections_by_hand(linked: Protections, by_hand: Iterable[HandVerb]) -> Protections:
    """Return `linked` without what is lost where a person does the verbs `by_hand`."""
    verbs = tuple(verb for verb in _LOST if verb in set(by_hand))
    lost = {name: False for verb in verbs for name in _LOST[verb]}
    return linked.model_copy(update={**lost, "by_hand": verbs})
