"""Lock keys of network and VISA addresses: equal where two spellings mean the same line."""

from __future__ import annotations

import re
import socket
from ipaddress import IPv6Address, ip_address

import anyio

from .portlock import device_keys

_RESOLVE_TIMEOUT_S = 5.0
_SERIAL = re.compile(r"ASRL(/.+?|\d+)(::INSTR)?", re.IGNORECASE)
_SOCKET = re.compile(r"TCPIP\d*::(.+)::(\d+)::SOCKET", re.IGNORECASE)
_NETWORK = re.compile(r"TCPIP\d*::(.+?)(?:::([a-z]\w*(?:,\d+)?))??(?:::INSTR)?", re.IGNORECASE)


async def tcp_keys(host: str, port: int) -> frozenset[str]:
    """The lock keys of `port` on each address that `host` has."""
    return frozenset(f"tcp {machine} {port}" for machine in await _machines(host))


async def visa_keys(resource: str, backend: str) -> frozenset[str]:
    """The lock keys of a VISA resource; those of the line itself where it has one of its own."""
    if backend.endswith("@sim"):
        return frozenset((f"visa {resource} {backend}",))
    if (serial := _SERIAL.fullmatch(resource)) is not None:
        return device_keys(serial[1] if serial[1].startswith("/") else f"COM{serial[1]}")
    if (raw := _SOCKET.fullmatch(resource)) is not None:
        return await tcp_keys(raw[1], int(raw[2]))
    if (network := _NETWORK.fullmatch(resource)) is not None:
        device = (network[2] or "inst0").lower()
        return frozenset(f"visa {machine} {device}" for machine in await _machines(network[1]))
    return frozenset((f"visa {resource.upper()}",))


async def _machines(host: str) -> set[str]:
    """The addresses of `host`, all of this machine as one; the name itself where it has none."""
    try:
        with anyio.fail_after(_RESOLVE_TIMEOUT_S):
            found = await anyio.getaddrinfo(host.strip("[]"), None, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):  # opening it will say what is wrong
        return {host.lower()}
    return {_machine(str(address[0])) for *_, address in found}


def _machine(address: str) -> str:
    ip = ip_address(address)
    if isinstance(ip, IPv6Address):
        ip = ip.ipv4_mapped or ip
    family = socket.AF_INET6 if isinstance(ip, IPv6Address) else socket.AF_INET
    try:
        with socket.socket(family, socket.SOCK_DGRAM) as own:
            own.bind((str(ip), 0))  # only an address of one's own can be
    except OSError:
        return str(ip)
    return "this machine"
