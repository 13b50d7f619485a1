"""Opens the lines of a bench file: to the analyzer through a guard where something gives orders."""

from __future__ import annotations

from contextlib import AsyncExitStack, aclosing

from ohmwright.model.bench_file import Address, OwnLine, SerialPort, Simulated, TcpAddress
from ohmwright.model.errors import SourceError
from ohmwright.wire.guard.making_orders import GuardOrders, HandedOrders, orders_with_meter
from ohmwright.wire.guard.opening import (
    open_guarded_serial,
    open_guarded_tcp,
    open_guarded_visa,
)
from ohmwright.wire.link import Link
from ohmwright.wire.links.serial import open_serial
from ohmwright.wire.links.tcp import open_tcp
from ohmwright.wire.links.visa import open_visa
from ohmwright.wire.serial_format import SerialFormat

from .bench_data import BenchData


async def analyzer_link(data: BenchData, stack: AsyncExitStack, *, guarded: bool) -> Link | None:
    """Return the open line to the analyzer; None where its back end has a way of its own.

    Without a guard where a back end gives it no orders. Raises LinkError.
    """
    address, back_end = data.file.analyzer.link, data.analyzer_back_end
    way = back_end or data.analyzer_commands
    if address is None or way is None or isinstance(address, OwnLine):
        return None
    orders = _guard_orders(data)
    if guarded and orders is not None and data.can_be_guarded:
        link = await _open_guarded_link(address, orders)
    else:
        link = await open_link(address, way.serial)
        link.harmless = data.file.simulation is not None
    return await stack.enter_async_context(aclosing(link))


def _guard_orders(data: BenchData) -> HandedOrders | None:
    """Return what the analyzer's guard is told; None where there is nothing to tell it."""
    if data.analyzer_back_end is not None:
        return data.analyzer_back_end.orders
    commands = data.analyzer_commands
    return None if commands is None else orders_with_meter(commands, data.analyzer.meter)


async def generator_link(data: BenchData, stack: AsyncExitStack) -> Link | None:
    """Return the open line to the generator; None where there is none. Raises LinkError."""
    address, way = data.file.generator.link, data.generator_back_end or data.generator_commands
    if address is None or way is None or isinstance(address, OwnLine):
        return None
    link = await open_link(address, way.serial)
    return await stack.enter_async_context(aclosing(link))


async def open_link(address: Address, serial: SerialFormat | None = None) -> Link:
    """Return an open line, unguarded; `serial`: how a serial port is set. Raises LinkError."""
    if isinstance(address, SerialPort):
        settings = None if serial is None else serial.settings()
        return await open_serial(address.port, baud=address.baud, settings=settings)
    if isinstance(address, TcpAddress):
        return await open_tcp(address.host, address.port)
    if isinstance(address, Simulated):
        raise SourceError("A simulated link needs the whole bench simulated.")
    if isinstance(address, OwnLine):
        raise SourceError("A link of kind 'own' is for an instrument with a back end.")
    return await open_visa(address.resource, backend=address.backend)


async def _open_guarded_link(address: Address, orders: GuardOrders) -> Link:
    if isinstance(address, SerialPort):
        return await open_guarded_serial(address.port, baud=address.baud, commands=orders)
    if isinstance(address, TcpAddress):
        return await open_guarded_tcp(address.host, address.port, commands=orders)
    # a simulated bench is simulated as a whole, and an own line has no guard
    assert not isinstance(address, Simulated | OwnLine)
    return await open_guarded_visa(address.resource, backend=address.backend, commands=orders)
