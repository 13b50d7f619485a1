"""A back end with the options of one data file, checked before anything is opened."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, create_model

from ohmwright.instruments.required_messages import missing_messages
from ohmwright.model.errors import SourceError
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.source import parse, read_text
from ohmwright.wire.command_set import Verb
from ohmwright.wire.guard.making_orders import HandedOrders
from ohmwright.wire.guard.orders import ReleaseOrders
from ohmwright.wire.serial_format import SerialFormat

from .base import AnalyzerBackEnd, BackEnd, verbs_of
from .installed import InstalledBackEnd

B = TypeVar("B", bound=BackEnd)
_LONGEST_S = 60.0


@dataclass(frozen=True)
class ChosenBackEnd(Generic[B]):
    """An installed back end, its options, and the guard's orders where it hands any over."""

    installed: InstalledBackEnd[B]
    options: BaseModel
    release: ReleaseOrders | None = None

    @property
    def verbs(self) -> frozenset[Verb]:
        """The verbs that it has methods or orders for."""
        return verbs_of(self.installed.factory, has_orders=self.release is not None)

    @property
    def serial(self) -> SerialFormat:
        """How a serial port of its instrument is set."""
        return self.installed.factory.serial

    @property
    def orders(self) -> HandedOrders | None:
        """What a guard needs; None where the back end gives no orders."""
        return None if self.release is None else HandedOrders(self.release, self.serial)


def options_in(
    path: Path, noun: type[AnalyzerData] | type[GeneratorData], installed: InstalledBackEnd[Any]
) -> BaseModel:
    """The options of a back end in the data file `path`. Raises SourceError with line and column.

    `noun`: the model of the file, whose `options` are then those of the back end.
    """
    options = installed.factory.Options
    needs_some = any(field.is_required() for field in options.model_fields.values())
    default: Any = ... if needs_some else options()
    wanted = create_model(noun.__name__, __base__=noun, options=(options, default))
    given: BaseModel = dict(parse(path, read_text(path), wanted, table="data"))["options"]
    return given


def chosen_back_end(
    installed: InstalledBackEnd[B], options: BaseModel, needed: Iterable[Verb], where: str
) -> ChosenBackEnd[B]:
    """The back end with `options`. Raises SourceError where it cannot work an instrument."""
    chosen = ChosenBackEnd(installed, options, _release(installed, options, where))
    missing = missing_messages(chosen.verbs, needed)
    if missing:
        raise SourceError(
            f"{where}: back end '{installed.name}' does not say how to {missing}.",
            "The instrument cannot be used without that. Nothing was switched on.",
            "Add the methods to it; 'off' and 'state' can be release orders instead.",
        )
    within_s = installed.factory.timeout_s
    if not 0 < within_s <= _LONGEST_S:
        raise SourceError(
            f"{where}: back end '{installed.name}' gives its methods {within_s!r} s.",
            f"Nobody can wait so; it has to be more than 0 and at most {_LONGEST_S:g} s.",
            "Correct its timeout_s.",
        )
    return chosen


def _release(
    installed: InstalledBackEnd[Any], options: BaseModel, where: str
) -> ReleaseOrders | None:
    if not issubclass(installed.factory, AnalyzerBackEnd):
        return None
    orders: object
    try:
        orders = installed.factory.release_orders(options)
    except Exception as problem:  # whatever stands in that package
        orders = problem
    if orders is None or isinstance(orders, ReleaseOrders):
        return orders
    raise SourceError(
        f"{where}: back end '{installed.name}' hands over no release orders: {orders!r:.200}.",
        "The guard could not switch off. Nothing was opened.",
        "Mend its release_orders: ReleaseOrders, or None for a bench without a guard.",
    )
