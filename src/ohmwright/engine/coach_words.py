"""What a person at the keys is told: cues, and what the meter has shown, in words."""

from __future__ import annotations

from ohmwright.adjustment.actions import Finish, Press
from ohmwright.adjustment.press_hypotheses import HowDone, Suspect
from ohmwright.adjustment.press_seen import PressesSeen
from ohmwright.instruments.requests import press_text
from ohmwright.model.cue import Cue

HOLD = Cue("hold", "Hold. Hands off the keys: the output settles.")
CONFIRMING = Cue("hold", "Hold. Hands off the keys: the output is being confirmed.")
COMES_ON = Cue("hold", "Hold. RF comes on now.")
RESTING = Cue("rest", "RF is off. The unit rests.")
NOBODY = Cue("notice", "Nothing was seen of the presses. RF goes off.")

_SAID: dict[HowDone, str] = {
    "as asked": "The output has moved about as {asked} should move it.",
    "none": "The meter shows none of what was asked for: {asked}.",
    "fewer": "The meter shows fewer presses than were asked for: {seen}, not {asked}.",
    "more": "The meter shows a press too many: {seen}, not {asked}.",
    "other key": "The meter shows the other key: {seen}, not {asked}.",
    "other direction": "The meter shows the other direction: {seen}, not {asked}.",
}
_MOVED = "The output has moved after {asked}. What a press does here was not known before."
_LIKELY = " That is likely, and not sure yet."
_TO_LEARN = " Only to learn what it does."
_EARLIER = " An earlier cue was probably not carried out as asked ({done}); it is allowed for."
_OTHER_SIGN = " The output follows the keys the other way than was learned; it is allowed for."
_AFTER_ALL = " An earlier cue was probably carried out as asked after all; it is allowed for."
NAMES_EARLIER = "not carried out as asked"
"""In every sentence that tells of a slip at an earlier cue."""
NAMES_NONE = "Nothing was seen"
"""In what is told once nothing came of several cues."""
NAMES: dict[HowDone, str] = {
    "none": "shows none",
    "fewer": "fewer presses",
    "more": "a press too many",
    "other key": "the other key",
    "other direction": "the other direction",
}
"""In the sentence that tells of each slip."""
NAMES_SLIP = (*NAMES.values(), NAMES_NONE, NAMES_EARLIER)
"""Of these, one is in every sentence that tells of a slip."""
CHANGED_NOTHING = "has changed nothing"
"""In the question to a person who has said that presses were done, and none has shown."""
CANNOT_TELL = "cannot tell whether"
"""In the sentence that says that the readings do not show what was pressed."""


def cue_at_end(end: Finish) -> Cue:
    """Return what is told once the point is at its end, RF off."""
    if end.ended == "confirmed":
        return Cue("done", "Done. Settled in tolerance, and RF is off.")
    return Cue("notice", f"RF is off. This point is not adjusted: {end.reason}.")


def cue_to_press(press: Press, seen: str, *, rf_on: bool, to_learn: bool = False) -> Cue:
    """Return the cue for presses; `seen`: what the meter showed of those before, or empty.

    `to_learn`: whether nothing is known yet of what the key does.
    """
    return Cue(
        "press",
        press_text(press.key, press.times)
        + ("" if rf_on else " RF is off.")
        + (_TO_LEARN if to_learn else ""),
        press.key,
        "up" if press.times > 0 else "down",
        abs(press.times),
        seen,
    )


def said_again(cue: Cue) -> Cue:
    """Return `cue`, which asks for what has just been done, in words that ask for it once more."""
    return cue._replace(words=f"Now again: {cue.words[0].lower()}{cue.words[1:]}")


def is_slip(seen: PressesSeen) -> bool:
    """Return whether something other than what was asked for was seen, now or of an earlier cue."""
    return seen.done != "as asked" or seen.suspect is not None


def seen_words(asked: tuple[Press, ...], seen: PressesSeen) -> str:
    """Return what the readings have shown of the presses asked for, as a sentence."""
    wanted = presses_words(asked)
    earlier = "" if seen.suspect is None else _earlier_words(seen.suspect)
    if seen.presses and not seen.told_apart and seen.done == "as asked":
        return _MOVED.format(asked=wanted) + earlier
    found = presses_words(merged(seen))
    said = _SAID[seen.done].format(seen=found or "nothing", asked=wanted)
    if not seen.told_apart:
        said += _LIKELY
    return said + earlier


def _earlier_words(suspect: Suspect) -> str:
    if suspect.done == "as asked":  # then what is in doubt is the gain that was learned from it
        return _OTHER_SIGN if suspect.gain_ratio < 0 else _AFTER_ALL
    return _EARLIER.format(done=suspect.done)


def unsure_words(asked: tuple[Press, ...]) -> str:
    """Return that the readings could not tell presses from a slip, as a sentence."""
    return f"The meter {CANNOT_TELL} it was just that: {presses_words(asked)}."


def merged(seen: PressesSeen) -> tuple[Press, ...]:
    """Return the presses that were seen, those of one key and direction as one."""
    found: list[Press] = []
    for _, press in seen.presses:
        if found and found[-1].key == press.key and found[-1].times * press.times > 0:
            found[-1] = Press(press.key, found[-1].times + press.times)
        else:
            found.append(press)
    return tuple(found)


def presses_words(presses: tuple[Press, ...]) -> str:
    """Return presses in words, as in "coarse up 2 times and fine down once"."""
    asked = (press_text(press.key, press.times) for press in presses)
    return " and ".join(text.removeprefix("Press ").rstrip(".") for text in asked)
