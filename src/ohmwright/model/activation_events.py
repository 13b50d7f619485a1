"""Events of RF: activations, what protections did, and RF that nobody asked for."""

from __future__ import annotations

from typing import Literal

from .stamped import Stamped


class ActivationOpened(Stamped):
    """RF is about to be switched on; on disk before it is, and before the rest it may need.

    When it came on is told by the event that closes it.
    """

    kind: Literal["activation_opened"] = "activation_opened"
    load_ohm: float
    limit_s: float | None
    """The time limit that ON carries; None where it carries none and only this program ends it."""
    setting_w: float | None = None
    """The setting chosen; None in service mode."""
    keyed_by: str | None = None
    """Who keeps RF on with the foot switch; None where the analyzer keys it."""


class ActivationClosed(Stamped):
    """RF has been read back as off, by an instrument or by a person who looked at one."""

    kind: Literal["activation_closed"] = "activation_closed"
    on_s: float
    on_at_bench_s: float | None = None
    """When ON was sent or a person keyed the output, by the bench's clock; None where it never was,
    and in records that do not say."""
    off_told_by: str | None = None
    """Who typed the reading that showed no current; None where an instrument was read."""


class SlowRelease(Stamped):
    """The output took longer than a reading or two to go off after OFF, or than a person needs.

    Also where OFF had to be sent again, however soon it went off then.
    """

    kind: Literal["slow_release"] = "slow_release"
    took_s: float
    keyed_by: str | None = None
    """Who held the foot switch; None where OFF was sent."""
    sent: int | None = None
    """How many times OFF was sent until the output read off; None in records that do not say, and
    where a person held the foot switch."""


class ProtectionProved(Stamped):
    """A protection was seen to work with RF on."""

    kind: Literal["protection_proved"] = "protection_proved"
    what: str
    on_s: float
    """How long RF was on for it."""


class UnaskedRf(Stamped):
    """RF was on unasked; OFF was sent, or a person was told, and then it read off."""

    kind: Literal["unasked_rf"] = "unasked_rf"
    seen: str
    """What showed it."""
    keyed_by: str | None = None
    """Who has the foot switch; None where OFF was sent."""
    on_s: float | None = None
    """How long it was on at most, since it was read as off before; None where it never was, and in
    records that do not say."""
