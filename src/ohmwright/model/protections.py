"""The protections of one bench against RF that stays on and against false readings."""

from __future__ import annotations

from .base import FrozenModel


class Protections(FrozenModel):
    """Which protections a bench has; False means that it has not, never that it is not known."""

    limit_in_on: bool = False
    """ON carries a time limit that the analyzer keeps by itself."""
    single_shot: bool = False
    """One ON gives one activation of a length fixed in the analyzer."""
    ceiling: bool = False
    """The longest limit that ON may carry is set and read back before ON."""
    limit_read_back: bool = False
    """After ON the limit that runs is read back."""
    guard: bool = False
    """A process of its own owns the analyzer's port and sends OFF when the program is gone."""
    state_read_back: bool = False
    """OFF is believed only when the output's state reads off."""
    load_read_back: bool = False
    """The load resistance connected is read back."""
    path_set: bool = False
    """The analyzer joins its input to the circuit measured; else a person does."""
    path_read_back: bool = False
    """The input circuit joined is read back."""
    line_proof: bool = False
    """Digits that are echoed show that the line is in step and carries each of them."""

    def words(self) -> tuple[tuple[str, bool], ...]:
        """Each protection in plain words, and whether the bench has it.

        A limit in ON and a single shot replace each other: of the two only one is listed.
        """
        needless = "single_shot" if self.limit_in_on or not self.single_shot else "limit_in_on"
        return tuple((text, getattr(self, n)) for n, text in _WORDS.items() if n != needless)


_WORDS = {
    "limit_in_on": "time limit sent with ON, kept by the analyzer",
    "single_shot": "one ON, one activation of fixed length",
    "ceiling": "ceiling for that limit, read back before ON",
    "limit_read_back": "running limit read back after ON",
    "guard": "guard process that owns the analyzer's port",
    "state_read_back": "output state read back",
    "load_read_back": "load resistance read back",
    "path_set": "input path set by the analyzer",
    "path_read_back": "input path read back",
    "line_proof": "line proven by echoed digits",
}
