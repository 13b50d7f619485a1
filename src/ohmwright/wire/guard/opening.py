"""Opening a port through a guard: serial, TCP or VISA."""

from __future__ import annotations

from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.links.ports import find_port
from ohmwright.wire.links.serial import refusal
from ohmwright.wire.links.tcp import HOW_TO_REACH
from ohmwright.wire.links.visa import CHECK_RESOURCE, lock_of
from ohmwright.wire.portlock import PortLock, device_lock

from .link import GuardedLink, could_not, open_guarded


async def open_guarded_serial(port: str, *, baud: int, commands: CommandSet) -> GuardedLink:
    """As `open_serial`, through a guard."""
    device = await find_port(port)
    where = {"kind": "serial", "port": device, "baud": baud}
    link, problem = await open_guarded(device, where, commands, device_lock(device))
    if problem is not None:
        raise await refusal(device, problem[1], problem[2])
    return link


async def open_guarded_tcp(host: str, port: int, *, commands: CommandSet) -> GuardedLink:
    """As `open_tcp`, through a guard."""
    name = f"{host}:{port}"
    where = {"kind": "tcp", "host": host, "port": port}
    link, problem = await open_guarded(name, where, commands, PortLock(f"tcp:{name}"))
    if problem is not None:
        raise could_not(name, problem, HOW_TO_REACH)
    return link


async def open_guarded_visa(resource: str, *, backend: str, commands: CommandSet) -> GuardedLink:
    """As `open_visa`, through a guard."""
    where = {"kind": "visa", "resource": resource, "backend": backend}
    lock = lock_of(resource, backend)
    link, problem = await open_guarded(resource, where, commands, lock)
    if problem is not None:
        raise could_not(f"{resource} ({backend})", problem, CHECK_RESOURCE)
    return link
