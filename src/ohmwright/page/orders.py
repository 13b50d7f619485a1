"""The bodies of the page's requests: one with any other key or kind of value is refused."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from ohmwright.model.assignment import LONGEST_WORK_ORDER
from ohmwright.model.step import STAGES, Stage

Work = Literal["calibrate", "as found"]
STAGES_OF: dict[Work, tuple[Stage, ...]] = {
    "calibrate": STAGES,
    "as found": ("as_found",),
}
"""The stages of a run by what was chosen on the page."""


def _one_line(text: str) -> str:
    """Return `text` without spaces at its ends. Raises ValueError for what cannot be printed."""
    if not text.isprintable():
        raise ValueError("It is not printable text in one line.")
    return text.strip()


NameGiven = Annotated[str, Field(max_length=100), AfterValidator(_one_line)]


class Body(BaseModel):
    """The body of a request."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class Enter(Body):
    """Exchange a one-time token for a session."""

    token: Annotated[str, Field(max_length=100)]


class Begin(Body):
    """Begin a run, or go on with one on record."""

    procedure: Annotated[int, Field(ge=0, le=10_000)] | None
    """None: that of the unit in the register of assets."""
    digest: Annotated[str, Field(max_length=64)] = ""
    """Of the procedure's text, as the screen listed it; empty: whatever it is now."""
    asset: Annotated[str, Field(max_length=1000)] = ""
    """The unit's tag, typed or scanned; empty: that of the bench file, or of the resumed run."""
    work_order: Annotated[str, Field(max_length=LONGEST_WORK_ORDER), AfterValidator(_one_line)] = ""
    work: Work = "calibrate"
    unattended: bool = False
    accept_expired: bool = False
    temperature_c: Annotated[float, Field(ge=-10, le=60)] | None = None
    humidity_percent: Annotated[float, Field(ge=0, le=100)] | None = None
    resume: Annotated[str, Field(max_length=200)] | None = None
    operator: NameGiven = ""
    """Who does it, as they gave their name; empty: the account that runs the server."""


class Words(Body):
    """What the person says to an open request."""

    number: Annotated[int, Field(ge=0, le=1_000_000_000)]
    words: Annotated[str, Field(max_length=500)]
    operator: NameGiven = ""
    """Who answers, as they gave their name at that screen; empty: they did not."""


class Command(Body):
    """Take, ask for, hand over, keep or leave the command of a bench."""

    do: Literal["take", "ask", "hand over", "keep", "leave"]


class KeyPress(Body):
    """Press keys of the practice panel."""

    key: Literal["coarse", "fine"]
    direction: Literal["up", "down"]


class Turn(Body):
    """Work another control of the practice panel."""

    control: Literal["set", "service", "save", "normal"]
    mode: Annotated[str, Field(max_length=60)] = ""
    """Of `set`."""
    setting_w: Annotated[float, Field(ge=0, le=1000)] = 0.0
    """Of `set`."""
    point: Annotated[str, Field(max_length=60)] = ""
    """Of `service`."""


class Renew(Body):
    """Make the forecast of all units anew."""

    simulated: bool = False
    """Of simulated units, instead of real ones."""


class Nothing(Body):
    """The body of a request that says all by its address."""
