"""Advice for the person who sees a failed exchange, from the bytes that came."""

from __future__ import annotations

from contextlib import suppress

from .frame_layout import FrameLayout


def hint(received: bytes, layout: FrameLayout) -> str:
    """What to check, judging from the bytes `received` where replies in `layout` were to come."""
    if not received:
        return "Check power, cable, port and address, and that nothing else holds the instrument."
    if layout.is_binary:
        return _hint_of_frames(received, layout)
    if odd := layout.odd_digits(received):
        return f"{odd[0].upper()}{odd[1:]}: see 'checksum' and 'checksum_form' of the command set."
    strange = sum(not (32 <= byte < 127 or byte in b"\r\n\t") for byte in received)
    if strange > len(received) / 4:
        return "Most of these bytes are no text: check the baud rate and the serial format."
    if received.endswith(b"\r") and not layout.ends.endswith(b"\r"):
        return "The reply ended in \\r: see that the command set says so of its replies."
    return "Check that this is the right instrument, its command set and its terminator."


def _hint_of_frames(received: bytes, layout: FrameLayout) -> str:
    """The same of binary frames, in which any byte may stand."""
    if layout.begins and layout.begins not in received:
        begins = layout.begins.hex(" ").upper()
        return (
            f"None of these bytes is {begins}, which begins a frame: check the baud rate and the "
            "serial format, then 'begins' of the command set."
        )
    if not _holds_a_frame(received, layout):
        return (
            "No frame came whole: check the baud rate and the serial format, then length and "
            "checksum of the command set's frame."
        )
    return "A frame came whole: check that this is the right instrument, and its command set."


def _holds_a_frame(received: bytes, layout: FrameLayout) -> bool:
    while received and (found := layout.split(received)) is not None:
        frame, received = found
        with suppress(ValueError):
            if layout.open(frame):  # an empty one is no more than zeros
                return True
    return False
