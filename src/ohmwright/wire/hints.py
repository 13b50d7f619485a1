"""Advice for the person who sees a failed exchange, from the bytes that came."""

from __future__ import annotations


def hint(received: bytes) -> str:
    """What to check, judging from the bytes `received`."""
    if not received:
        return "Check power, cable, port and address, and that nothing else holds the instrument."
    strange = sum(not (32 <= byte < 127 or byte in b"\r\n\t") for byte in received)
    if strange > len(received) / 4:
        return "Most of these bytes are no text: check the baud rate and the serial format."
    if received.endswith(b"\r"):
        return "The reply ended in \\r: see that the command set says so of its replies."
    return "Check that this is the right instrument, its command set and its terminator."
