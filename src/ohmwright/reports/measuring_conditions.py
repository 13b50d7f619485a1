"""The conditions under which a point was measured, in words: mode, setting, load and path."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import NamedTuple

from ohmwright.model.result import Result

from .text import NOT_RECORDED, printable

CONDITIONS_NOT_RECORDED = "mode, setting and path not recorded"


class MeasuringConditions(NamedTuple):
    """Each condition as text; empty where there is none, or where it is stated elsewhere."""

    mode: str
    setting: str
    load: str
    path: str
    reported_by: str
    """Who reported it; empty where mode and setting were chosen over the generator's port."""

    def words(self) -> str:
        """All conditions in one phrase."""
        load = f"into {self.load}" if self.load else ""
        output = " ".join(filter(None, (self.setting, load)))
        return ", ".join(filter(None, (self.mode, output, self.path, self.reported_by)))

    def without(self, other: MeasuringConditions) -> MeasuringConditions:
        """The conditions with those left empty that `other` states alike."""
        return MeasuringConditions(*("" if a == b else a for a, b in zip(self, other, strict=True)))


def conditions_of_result(result: Result) -> MeasuringConditions:
    """The conditions of a result, or that they are not recorded."""
    load = "" if result.load_ohm is None else f"{result.load_ohm:g} Ω"
    if result.path is None:
        return MeasuringConditions(CONDITIONS_NOT_RECORDED, "", load, "", "")
    if result.path == "none":
        who = "answered by a person" if result.kind == "inspection" else ""
        if result.said:
            who = f"answered by {printable(result.readings_told_by or NOT_RECORDED)}"
        if result.instrument:
            who = f"read from {printable(result.instrument)}; {who}"
        return MeasuringConditions(who, "", "", "", "")
    mode = "" if result.mode is None else printable(result.mode)
    setting = "" if result.setting_w is None else f"{result.setting_w:g} W"
    if result.stage == "adjust":
        setting = "service mode"
    told = _reported_by(result)
    path = "" if result.path == "only" else f"path {result.path}"
    return MeasuringConditions(mode, setting, load, path, told)


def _reported_by(result: Result) -> str:
    """Who reported that the unit was set, the path joined and the trim moved."""
    words = {
        "set": result.setting_told_by,
        "load set": result.load_told_by,
        "path joined": result.path_told_by,
        "foot switch held": result.keyed_by,
        "meter read": result.readings_told_by,
        "trim moved": result.trim_told_by if _was_moved(result) else None,
    }
    names = {name for name in words.values() if name}
    if len(names) == 1:
        *most, last = (what for what, name in words.items() if name)
        done = " and ".join(filter(None, (", ".join(most), last)))
        return f"{done} as told by {printable(names.pop())}"
    return ", ".join(f"{what} as told by {printable(who)}" for what, who in words.items() if who)


def _was_moved(result: Result) -> bool:
    """Whether a trim stands elsewhere than at first; also where that is not recorded."""
    return result.start_trim is None or result.start_trim != result.final_trim


def trim_text(result: Result) -> str:
    """From where to where a trim was moved, in counts; empty where that is not on record."""
    if result.start_trim is None or result.final_trim is None:
        return ""
    return f"{result.start_trim} to {result.final_trim}"


TOLD_TRIM = "†"
"""Stands behind a trim that nobody read from the unit."""


def trims_told_text(results: Iterable[Result]) -> str:
    """What a trim marked so is, and whose word its moves are; empty where every trim was read."""
    told = [(r.trim_told_by, _was_moved(r)) for r in results if r.trim_told_by is not None]
    if not told:
        return ""
    names = ", ".join(dict.fromkeys(name for name, moved in told if moved))
    counted = f"counted from 0 by presses as told by {printable(names)}; " if names else ""
    zero = "0 is where the trim stood at first: its own count was not read from the unit"
    return f"{counted}{zero}"


def shared_conditions(found: Sequence[MeasuringConditions]) -> MeasuringConditions:
    """The conditions that all of `found` share, the others empty."""
    facets = (
        map(set, zip(*found, strict=True)) if found else [set()] * len(MeasuringConditions._fields)
    )
    return MeasuringConditions(*(facet.pop() if len(facet) == 1 else "" for facet in facets))


def differing_conditions_text(found: Iterable[tuple[str, MeasuringConditions]]) -> str:
    """One phrase for named conditions, with the names where they differ."""
    said = [(name, words) for name, one in found if (words := one.words())]
    if len({words for _, words in said}) <= 1:
        return said[0][1] if said else ""
    return "; ".join(f"{name}: {words}" for name, words in said)
