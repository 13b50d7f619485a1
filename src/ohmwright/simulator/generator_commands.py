"""The SCPI messages that the simulated generator understands."""

from __future__ import annotations

from typing import cast

from ohmwright.wire.scpi import format_number, parse_number, quote, unquote

from .dispatcher import CommandError, Dispatcher, single_argument
from .generator import ILLEGAL_VALUE, OUT_OF_RANGE, Direction, Key
from .rig import Rig
from .scpi_text import headers, parse_boolean

_KEYS = {s: cast(Key, p.lower()) for p in ("COARse", "FINE") for s in headers(p)}
_DIRECTIONS: dict[str, Direction] = {"UP": "up", "DOWN": "down"}


class GeneratorCommands:
    """Registers its commands on a dispatcher and carries them out on the rig."""

    def __init__(self, rig: Rig, dispatcher: Dispatcher) -> None:
        self._generator = generator = rig.generator
        on = dispatcher.on
        on("[SOURce]:FUNCtion", lambda a: generator.select_mode(unquote(single_argument(a))))
        on("[SOURce]:FUNCtion?", lambda _: quote(generator.mode))
        on("[SOURce]:POWer", lambda a: generator.set_power(parse_number(single_argument(a))))
        on("[SOURce]:POWer?", lambda _: format_number(generator.setting_w))
        on("CALibration:STATe", self._set_service)
        on("CALibration:STATe?", lambda _: "1" if generator.in_service else "0")
        on("CALibration:POINt", lambda a: generator.choose_point(unquote(single_argument(a))))
        on("CALibration:POINt?", lambda _: quote(generator.point or ""))
        on("CALibration:TRIM", lambda a: generator.set_trim(_whole(single_argument(a))))
        on("CALibration:TRIM?", lambda _: str(generator.trims[generator.chosen_point()]))
        on("CALibration:KEY", self._press)
        on("CALibration:STORe", lambda _: generator.store())
        on("CALibration:STORe?", lambda _: str(generator.stored_trim()))
        if rig.monitor is not None:
            on("SENSe:CQUality:ALARm?", lambda _: "1" if rig.alarm else "0")

    def _set_service(self, arguments: list[str]) -> None:
        if parse_boolean(single_argument(arguments)):
            self._generator.enter_service()
        else:
            self._generator.leave_service()

    def _press(self, arguments: list[str]) -> None:
        if len(arguments) != 3:
            raise CommandError(-109 if len(arguments) < 3 else -108)
        key, direction = _KEYS.get(arguments[0].upper()), _DIRECTIONS.get(arguments[1].upper())
        if key is None or direction is None:
            raise CommandError(ILLEGAL_VALUE)
        self._generator.press(key, direction, _whole(arguments[2]))


def _whole(text: str) -> int:
    """The whole number in `text`. Raises CommandError for any other."""
    number = parse_number(text)
    if not abs(number) < 1e9:
        raise CommandError(OUT_OF_RANGE)
    if number != int(number):
        raise CommandError(-104)
    return int(number)
