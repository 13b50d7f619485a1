"""Which addresses of this machine no other one can reach."""

from __future__ import annotations

from contextlib import suppress
from ipaddress import ip_address

LOOPBACK = "127.0.0.1"


def is_loopback(host: str) -> bool:
    """Whether only this machine reaches `host`; of names only localhost is sure to be such."""
    with suppress(ValueError):
        return ip_address(host).is_loopback
    return host == "localhost"
