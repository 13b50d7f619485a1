"""The messages of a command set that each ability of an instrument needs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ohmwright.model.by_hand import HandVerb
from ohmwright.model.errors import SourceError
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.wire.command_set import CommandSet, Verb

ANALYZER: tuple[Verb, ...] = ("identify", "set_load", "on", "off", "state", "fetch_current")
"""What every analyzer that is not worked by hand must have."""
LEAKAGE: tuple[Verb, ...] = ("fetch_leakage",)
WAVEFORM: tuple[Verb, ...] = ("fetch_waveform", "waveform_scale")
CONTACT: tuple[Verb, ...] = ("set_contact",)
GENERATOR: tuple[Verb, ...] = ("identify",)
MODES: tuple[Verb, ...] = ("select_mode", "set_power")
SERVICE: tuple[Verb, ...] = ("service_on", "service_off", "set_point", "trim", "set_trim", "store")
ALARM: tuple[Verb, ...] = ("contact_alarm",)


_BY_HAND: dict[HandVerb, tuple[Verb, ...]] = {
    "load": ("set_load", "load"),
    "path": (),
    "contact": ("set_contact", "contact"),
    "foot switch": ("on", "off", "state"),
    "reading": ("fetch_current", "fetch_leakage"),
}
"""Messages that are not needed where a person does each of these; the path is asked for by the
engine where there is no 'set_path'."""


def verbs_by_hand(
    verbs: frozenset[Verb] | None, by_hand: Iterable[HandVerb]
) -> frozenset[Verb] | None:
    """The verbs that can be used where a person does `by_hand`; `verbs`: of the command set."""
    if verbs is None:
        return None
    done = frozenset(verb for hand in by_hand for verb in _BY_HAND[hand])
    return (verbs | done) - ({"set_path", "path"} if "path" in by_hand else set())


def analyzer_messages(by_hand: Iterable[HandVerb]) -> tuple[Verb, ...]:
    """The messages without which no analyzer is used, where a person does `by_hand`."""
    done = {verb for hand in by_hand for verb in _BY_HAND[hand]}
    return tuple(verb for verb in ANALYZER if verb not in done)


def missing_messages(verbs: frozenset[Verb] | None, needed: Iterable[Verb]) -> str:
    """The verbs of `needed` that are not among `verbs`, as text; empty where none is missing.

    `verbs` is None for an instrument that is worked by hand.
    """
    missing = () if verbs is None else tuple(verb for verb in needed if verb not in verbs)
    return ", ".join(f"'{verb}'" for verb in missing)


def check_complete(commands: CommandSet, needed: Iterable[Verb], where: str) -> None:
    """Raise SourceError where a command set lacks a message that its instrument must have."""
    missing = missing_messages(commands.verbs, needed)
    if missing:
        raise SourceError(
            f"{where}: command set '{commands.name}' does not say how to {missing}.",
            "The instrument cannot be used without that. Nothing was switched on.",
            "Add the messages to the command set file, from the instrument's manual.",
        )


def analyzer_contradictions(data: AnalyzerData, verbs: frozenset[Verb] | None) -> Iterator[str]:
    """Each thing that an analyzer's data say it can do, and its command set has no message for."""
    for stated, what, needed in (
        (data.leakage_load_ohm is not None, "measures HF leakage", LEAKAGE),
        (data.contact_quality_ohm is not None, "simulates a neutral electrode", CONTACT),
        (data.waveform, "captures waveforms", WAVEFORM),
    ):
        if stated and (missing := missing_messages(verbs, needed)):
            yield f"it {what} by its data, and its command set has no {missing}"


def generator_contradictions(data: GeneratorData, verbs: frozenset[Verb] | None) -> Iterator[str]:
    """Each thing that a generator's data say it can do, and its command set has no message for."""
    for stated, what, needed in (
        (True, "has modes", MODES),
        (data.service is not None, "has a service mode", SERVICE),
        (data.contact_quality_monitor, "has a contact quality monitor", ALARM),
    ):
        if stated and (missing := missing_messages(verbs, needed)):
            yield f"it {what} by its data, and its command set has no {missing}"
