"""The simulated generator's front panel, for hands and eyes."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import NamedTuple

from ohmwright.model.errors import UsageError

from .dispatcher import CommandError
from .generator import Direction, Key
from .rig import Rig
from .scpi_errors import ERRORS


class PanelFace(NamedTuple):
    """What the front panel shows."""

    mode: str
    setting_w: float
    in_service: bool
    point: str | None
    """The adjustment point that is chosen."""
    saved: bool
    """Whether every trim is stored as it stands."""
    alarm: bool
    """Whether the contact quality alarm's lamp is lit."""


class Panel:
    """The front panel. Raises UsageError for what the unit refuses."""

    def __init__(self, rig: Rig, serial_plate: str) -> None:
        self._rig, self.serial_plate = rig, serial_plate

    def select(self, mode: str, setting_w: float) -> None:
        """Choose mode and power setting."""
        with self._hand():
            self._rig.generator.select_mode(mode)
            self._rig.generator.set_power(setting_w)

    def service(self, *, on: bool) -> None:
        """Enter or leave service mode; trims that were not stored are lost on leaving."""
        with self._hand():
            generator = self._rig.generator
            if on:
                generator.enter_service()
            else:
                generator.leave_service()

    def point(self, name: str) -> None:
        """Choose an adjustment point."""
        with self._hand():
            self._rig.generator.choose_point(name)

    def press(self, key: Key, direction: Direction, presses: int = 1) -> None:
        """Press a key of the service mode."""
        with self._hand():
            self._rig.press(key, direction, presses)

    def press_at(self, at_s: float, key: Key, direction: Direction) -> None:
        """Let a key be pressed once when the bench's clock shows `at_s`.

        A unit that does not take it then is left as it is.
        """
        self._rig.catch_up()
        self._rig.plan_press(at_s, key, direction)

    def drop_presses(self, after_s: float) -> None:
        """Forget the presses planned for later than `after_s`."""
        self._rig.catch_up()
        self._rig.drop_presses(after_s)

    def store(self) -> None:
        """Store the trims."""
        with self._hand():
            self._rig.generator.store()

    def has_kept(self, point: str, counts: int, key: Key | None) -> None:
        """Have a trim moved and stored before: `counts` as they are on record of a run."""
        self._rig.generator.has_kept(point, counts, key)

    def pedal(self, *, down: bool) -> None:
        """Press or release the pedal, which keys RF."""
        with self._hand():
            self._rig.hold_pedal(down)

    @property
    def face(self) -> PanelFace:
        """What the panel shows now."""
        alarm, generator = self.contact_alarm, self._rig.generator
        return PanelFace(
            generator.mode,
            generator.setting_w,
            generator.in_service,
            generator.point,
            generator.is_stored,
            alarm,
        )

    @property
    def contact_alarm(self) -> bool:
        """Whether the contact quality alarm's lamp is lit."""
        self._rig.catch_up()
        return self._rig.alarm

    @contextmanager
    def _hand(self) -> Iterator[None]:
        self._rig.catch_up()
        try:
            yield
        except CommandError as refusal:
            what = ERRORS.get(refusal.code, "refused").lower()
            raise UsageError(
                f"The simulated generator does not do that now: {what}.",
                "Nothing was changed by it.",
                "Check mode, setting, service mode and adjustment point.",
            ) from None
