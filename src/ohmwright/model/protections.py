"""The protections of one bench against RF that stays on and against false readings, graded."""

from __future__ import annotations

from typing import Literal, NamedTuple

from .base import FrozenModel
from .by_hand import HandVerb

Grade = Literal["unattended", "attended", "by foot switch"]
"""Whether nobody need be there, somebody must stand by, or somebody keeps RF on with their foot."""


class Lacking(NamedTuple):
    """Something without which nobody may leave the bench, and what would give it."""

    what: str
    remedy: str


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
    harmless: bool = False
    """The hardware is invented and makes no RF: there is nothing to guard."""
    state_read_back: bool = False
    """OFF is believed only when the output's state reads off."""
    load_read_back: bool = False
    """The load resistance connected is read back."""
    path_set: bool = False
    """The analyzer joins its input to the circuit measured; else a person does."""
    path_read_back: bool = False
    """The input circuit joined is read back."""
    line_proof: bool = False
    """Something shows that replies belong to their messages and bytes arrive as they were sent."""
    by_hand: tuple[HandVerb, ...] = ()
    """What a person does in the analyzer's place; of that nothing is read back."""

    def words(self) -> tuple[tuple[str, bool], ...]:
        """Each protection in plain words, and whether the bench has it.

        A limit in ON and a single shot replace each other: of the two only one is listed.
        """
        return tuple((words, there) for words, there, _ in self.with_remedies())

    def with_remedies(self) -> tuple[tuple[str, bool, str], ...]:
        """Each protection in plain words, whether the bench has it, and what would give it.

        The last is empty where an unattended run does not need it.
        """
        needless = "single_shot" if self.limit_in_on or not self.single_shot else "limit_in_on"
        return tuple(
            (text, getattr(self, name), _NEEDED[name].remedy if name in _NEEDED else "")
            for name, text in _WORDS.items()
            if name != needless
        )

    @property
    def foot_switch(self) -> bool:
        """Whether a person keeps RF on with a foot switch."""
        return "foot switch" in self.by_hand

    @property
    def grade(self) -> Grade:
        """Who must be at the bench while RF is on."""
        if self.foot_switch:
            return "by foot switch"
        return "attended" if self.lacking_unattended() else "unattended"

    @property
    def grade_words(self) -> str:
        """The grade as a sentence, with what is lacking for the next better one."""
        match self.grade:
            case "by foot switch":
                return (
                    "RF is kept on by a person's foot switch: what ends it is that person letting "
                    "go, and no program or instrument can"
                )
            case "attended":
                lacking = ", ".join(one.what for one in self.lacking_unattended())
                return f"a person must stand by while RF is on: without {lacking}"
            case "unattended":
                return "nobody need stand by while RF is on"

    @property
    def guard_words(self) -> str:
        """What is to be known where no guard process owns the port; empty where one does."""
        if self.guard or self.harmless:
            return ""
        if self.foot_switch:
            return "NO GUARD: only the person at the foot switch ends RF"
        return "NO GUARD: nothing sends OFF if this program is killed or held up"

    def lacking_unattended(self) -> tuple[Lacking, ...]:
        """Return what is lacking for a run that nobody attends, each with what would give it."""
        given = {
            "limit_in_on": self.limit_in_on or self.single_shot,
            "guard": self.guard or self.harmless,
            "state_read_back": self.state_read_back,
            "line_proof": self.line_proof,
        }
        by_hand = (Lacking(f"'{verb}' by command", _BY_HAND) for verb in self.by_hand)
        return (*(_NEEDED[name] for name, there in given.items() if not there), *by_hand)

    @property
    def is_linked(self) -> bool:
        """Whether anything at all is asked of the analyzer over a line."""
        return not {"load", "foot switch", "reading"} <= set(self.by_hand)


_WORDS = {
    "limit_in_on": "time limit sent with ON, kept by the analyzer",
    "single_shot": "one ON, one activation of fixed length",
    "ceiling": "ceiling for that limit, read back before ON",
    "limit_read_back": "running limit read back after ON",
    "guard": "guard process that owns the analyzer's port",
    "state_read_back": "output state read back",
    "load_read_back": "load resistance read back (the analyzer's own word)",
    "path_set": "input path set by the analyzer",
    "path_read_back": "input path read back (the analyzer's own word)",
    "line_proof": "line proved in step and undistorted",
}
_NEEDED = {
    "limit_in_on": Lacking(
        "a time limit that the analyzer keeps",
        "a limit in ON ({limit_s} in 'on' or 'arm' of the command set, max_limit_s in the "
        "analyzer's data) or an analyzer of single shots",
    ),
    "guard": Lacking("the guard process", "a port that the guard can own, without --no-guard"),
    "state_read_back": Lacking("read-back of the output's state", "'state' in the command set"),
    "line_proof": Lacking(
        "a proof of the line",
        "a question to which the instrument gives back its number ('resynchronise' in the command "
        "set), an echo or a checksum, as its manual has it",
    ),
}
"""What a bench needs to be left alone, by the name of the protection."""
_BY_HAND = "an analyzer that does it, and no such entry in by_hand of the bench file"
