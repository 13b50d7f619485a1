"""What is known of RF at a bench, in words that are true at the time they are shown."""

from __future__ import annotations

from typing import Literal

from ohmwright.instruments.foot_switch import RELEASE
from ohmwright.model.base import FrozenModel
from ohmwright.model.bench_status import BenchStatus, RfState

CURRENT_VALID_S = 1.0
"""A reading older than this is not shown as the present current."""
STATE_VALID_S = 2.0
"""A state read longer ago than this is stale, and shown with its age."""
OFF_DUE_S = 4.0
"""OFF that is not read back for longer than this may have had no effect."""
MAINS_SWITCH = "switch the generator off at its mains switch"

NOT_PROVED = "that RF is off is not proved"
"""Said while no current is read and none that is due was ever read with RF on."""

Urgency = Literal["calm", "care", "alarm"]
"""`calm`: off, or on as it should be; `care`: on the way, or not read yet; `alarm`: act now."""


RfPictureState = RfState | Literal["not read"]


class RfPicture(FrozenModel):
    """RF as it was read last, and what has become of its figures since."""

    state: RfPictureState
    words: str
    """The state in words, such as `RF ON`."""
    note: str = ""
    """What is to be said beside it: how old the reading is, a rest, a limit that has run out."""
    urgency: Urgency = "calm"
    read_s: float | None = None
    """When it was read, in seconds of the bench's clock; None before the first reading."""
    read_ago_s: float = 0.0
    """How long ago that is, in seconds."""
    stale: bool = False
    """Whether that is longer ago than `STATE_VALID_S`."""
    by_foot: bool = False
    """Whether a person keeps RF on, and must let go when its time is over."""
    as_told: bool = False
    """Whether a person at the meter said so."""
    age_s: float | None = None
    """RF on: age of the activation in seconds; None where it is not known."""
    left_s: float | None = None
    """RF on: seconds until the limit of the activation, 0 where it has run out; None without."""
    rest_left_s: float | None = None
    """RF off: seconds of the rest still to come; None where there is none, or it is not known."""

    @property
    def line(self) -> str:
        """Words and note in one line."""
        return f"{self.words}, {self.note}" if self.note else self.words


def rf_picture(moment: BenchStatus | None, now_s: float) -> RfPicture:
    """Return what is known of RF at `now_s`, in seconds of the bench's clock.

    `moment`: the latest status. Ages and remaining times are carried on from it. RF counts as on
    until it was read back as off.
    """
    if moment is None:
        return RfPicture(state="not read", words="RF NOT READ YET", urgency="care", stale=True)
    past_s = max(0.0, now_s - moment.bench_s)
    read_ago_s = past_s + moment.read_ago_s
    words, urgency = _state_words(moment, past_s)
    off = moment.rf in ("off", "not proved")
    rest_s = moment.rest_left_s if off and past_s <= STATE_VALID_S else None
    on = moment.rf == "on"
    return RfPicture(
        state=moment.rf,
        words=words,
        note=_note(moment, past_s),
        urgency="alarm" if _let_go(moment, past_s) else urgency,
        read_s=moment.bench_s - moment.read_ago_s,
        read_ago_s=read_ago_s,
        stale=read_ago_s > STATE_VALID_S,
        by_foot=moment.keyed_by_foot,
        as_told=moment.read_by_eye,
        age_s=None if not on or moment.age_s is None else moment.age_s + past_s,
        left_s=None if not on or moment.left_s is None else max(0.0, moment.left_s - past_s),
        rest_left_s=None if rest_s is None else max(0.0, rest_s - past_s),
    )


def rf_at_request(
    state: RfPictureState | None, *, follows: bool, by_foot: bool, in_activation: bool = True
) -> str:
    """Return what a request says of RF, and who keys it; empty where RF has no part in it.

    `state`: as it was read last, None where that is not shown; `follows`: whether RF comes on after
    the answer; `in_activation`: whether RF that is on was asked for, so that it is known who keys
    it. It never says that RF is off: a request may stay open for long.
    """
    keys = "by the foot switch" if by_foot else "keyed by the program"
    match state:
        case "on":
            return f"RF IS ON, {keys}." if in_activation else "RF IS ON."
        case "going off":
            return "RF MAY STILL BE ON."
        case "unknown":
            return "RF STATE UNKNOWN."
        case _:
            unproved = "It is not proved that RF is off." if state == "not proved" else ""
            comes_on = f"RF comes on after this, {keys}." if follows else ""
            return " ".join(filter(None, (unproved, comes_on)))


def _state_words(moment: BenchStatus, past_s: float) -> tuple[str, Urgency]:
    by_foot = moment.keyed_by_foot
    match moment.rf:
        case "off":
            return "RF OFF", "calm"
        case "not proved":
            return "NO CURRENT READ", "care"
        case "on":
            return "RF ON", "calm"
        case "coming on" if past_s > STATE_VALID_S and not by_foot:
            return "RF MAY BE ON", "care"  # ON may have been sent; a line may have fallen silent
        case "coming on":
            when = "COMES ON WITH THE FOOT SWITCH" if by_foot else "IS ABOUT TO COME ON"
            return f"RF {when}", "care"
        case "going off" if past_s > OFF_DUE_S:
            return "RF MAY STILL BE ON", "alarm"
        case "going off":  # whether OFF works is not known yet
            return "RF MAY BE ON", "alarm" if by_foot else "care"
        case _:
            return "RF STATE UNKNOWN", "alarm"


def _let_go(moment: BenchStatus, past_s: float) -> bool:
    """Return whether a person keeps RF on past the limit of the activation."""
    held = moment.rf == "on" and moment.keyed_by_foot
    return held and moment.left_s is not None and moment.left_s <= past_s


def _note(moment: BenchStatus, past_s: float) -> str:
    match moment.rf:
        case "coming on":
            waits = moment.keyed_by_foot or past_s > STATE_VALID_S
            return _not_looked_since(moment, past_s) if waits else ""
        case "going off":
            return _not_read_back(moment, past_s)
        case "unknown":
            return MAINS_SWITCH
        case "not proved":
            return "; ".join(filter(None, (_read_when(moment, past_s), NOT_PROVED)))
        case "on" if _let_go(moment, past_s):
            return RELEASE
        case "on" if moment.left_s is not None and moment.left_s <= past_s:
            return "its limit has run out"
        case _:
            return _read_when(moment, past_s)


def _not_read_back(moment: BenchStatus, past_s: float) -> str:
    """Return what is said while RF is being ended and is not read as off."""
    if moment.keyed_by_foot:
        return f"{RELEASE} It is not known to be off."
    if past_s > OFF_DUE_S:
        return f"{MAINS_SWITCH} now"
    return "being ended, not read back yet"


def _read_when(moment: BenchStatus, past_s: float) -> str:
    ago_s = past_s + moment.read_ago_s
    if ago_s <= STATE_VALID_S:
        return "as told" if moment.read_by_eye else ""
    return f"{'as told' if moment.read_by_eye else 'last read'} {short_time(ago_s)} ago"


def _not_looked_since(moment: BenchStatus, past_s: float) -> str:
    """Return for how long nothing was read while RF may come on at any moment."""
    ago_s = past_s + moment.read_ago_s
    return "" if ago_s <= STATE_VALID_S else f"nothing read for {short_time(ago_s)}"


def short_time(seconds: float) -> str:
    """Return a time in seconds, from 2 minutes on in minutes."""
    return f"{seconds:.0f} s" if seconds < 120 else f"{seconds / 60:.0f} min"
