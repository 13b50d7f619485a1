"""Whether the unit at the bench is the one that the register of assets says.

A unit with a port says its own serial number. Where it says none, a person reads it from the
plate, before they are told which one is expected.
"""

from __future__ import annotations

from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import StopRun
from ohmwright.instruments.requests import (
    NO,
    PLATE_CHARACTERS,
    ReadSerialPlate,
    SayWhetherSameUnit,
)
from ohmwright.model.errors import WrongInstrument
from ohmwright.model.event import UnitIdentified
from ohmwright.model.registered_asset import RegisteredAsset

from .session import Session

_FIELDS_OF_IDENTITY = 4
"""Maker, model, serial number, firmware (IEEE 488.2, 10.14.3, from memory: unverified)."""
_NO_SERIAL = ("", "0")
"""What stands for a serial number that the unit does not tell (the same clause)."""
_TRIES = 2
"""A misread plate is read once more."""


def refuse_another_unit(bench: Bench, asset: RegisteredAsset | None, identity: str) -> None:
    """Raise WrongInstrument where a unit with a port says another serial number.

    `identity`: what the generator answers. To be asked before a run is on record, which could not
    go on with the right unit.
    """
    if asset is None or not bench.generator.unattended:
        return
    if other_serial(identity, asset.serial) is not None:
        raise _another_unit(bench, asset, f"says '{identity}'")


async def identified_unit(
    session: Session, asset: RegisteredAsset, identity: str
) -> UnitIdentified | None:
    """Return how the unit was known; None where it tells nothing and nobody is there to look.

    `identity`: as for `refuse_another_unit`. Raises WrongInstrument where a person reads another
    serial number.
    """
    port = session.bench.generator.unattended
    if port and told_serial(identity, asset.serial) is not None:
        return UnitIdentified(**session.stamp(), seen=identity)
    if not session.bench.operator.present:
        return None
    return await _read_from_plate(session, asset)


async def same_unit_goes_on(session: Session) -> None:
    """Have a person say that a run goes on with its unit, where neither port nor register tells it.

    Another one after lunch would be recorded as the unit of the morning. Raises StopRun for a no.
    """
    bench = session.bench
    if bench.generator.unattended or not bench.operator.present:
        return
    unit = bench.unit
    asked = SayWhetherSameUnit(f"{unit.id}, {unit.maker} {unit.model}")
    if (await bench.operator.carry_out(asked)).word == NO.word:
        raise StopRun


def told_serial(identity: str, expected: str) -> str | None:
    """Return the serial number in an identification; None where it holds none.

    An identification in a form of its own counts where the expected number stands in it by itself.
    """
    fields = [field.strip() for field in identity.split(",")]
    words = (*fields, *identity.replace(",", " ").split())
    if any(same_serial(word, expected) for word in words):
        return expected
    if len(fields) == _FIELDS_OF_IDENTITY and fields[2] not in _NO_SERIAL:
        return fields[2]
    return None


def other_serial(identity: str, expected: str) -> str | None:
    """Return the serial number in an identification that is not the expected one; else None."""
    told = told_serial(identity, expected)
    return None if told is None or same_serial(told, expected) else told


def same_serial(one: str, other: str) -> bool:
    """Return whether two serial numbers agree, apart from case and spaces."""
    return _folded(one) == _folded(other)


def fits_plate(read: str, serial: str) -> bool:
    """Return whether what was read is a serial number, or its last characters."""
    shown, whole = _folded(read), _folded(serial)
    return shown == whole or (len(shown) >= PLATE_CHARACTERS and whole.endswith(shown))


def _folded(serial: str) -> str:
    return "".join(serial.split()).casefold()


async def _read_from_plate(session: Session, asset: RegisteredAsset) -> UnitIdentified:
    operator = session.bench.operator
    read = ""
    for _ in range(_TRIES):
        read = (await operator.carry_out(ReadSerialPlate(asset.model))).word
        if fits_plate(read, asset.serial):
            return UnitIdentified(**session.stamp(), seen=read, told_by=operator.name)
    seen = f"has '{read}' on its plate, as told by {operator.name}"
    raise _another_unit(session.bench, asset, seen)


def _another_unit(bench: Bench, asset: RegisteredAsset, seen: str) -> WrongInstrument:
    return WrongInstrument(
        f"The unit at the bench {seen}; asset {asset.tag} has the serial number '{asset.serial}'.",
        "By that it is another unit. Nothing was switched on.",
        _plate_of_a_seed(asset) if bench.seed is not None else _plate_of_a_unit(asset),
    )


def _plate_of_a_unit(asset: RegisteredAsset) -> str:
    return (
        f"Bring {asset.tag} to the bench, or scan the tag of the unit that is there. The register "
        f"is wrong only where the plate of {asset.tag} itself shows another number."
    )


def _plate_of_a_seed(asset: RegisteredAsset) -> str:
    """Return what to do where nothing can be brought: the serial number makes the unit."""
    return (
        "This bench is simulated, and a simulated unit has S and six digits as its serial number, "
        f"as S000012. To try it with {asset.tag}, give that such a number, in records that are "
        "for trials alone."
    )
