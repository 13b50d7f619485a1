"""Which questions of the command `new` are asked after what was answered, and what is usual."""

from __future__ import annotations

import re
from typing import Any

from pydantic.fields import FieldInfo

from .new_frames import NONE, is_frame_key_asked, usual_by_answers

_SERIAL_PORT = re.compile(r"COM\d+|/\S+|serial=.+", re.IGNORECASE)
OF_TEXT = (
    *("identify", "identify_reply", "set_load", "load", "load_reply", "state_reply"),
    *("current_reply", "select_mode", "set_power"),
)
"""What is usual of text messages alone: binary ones have to be told."""
OWN_ANSWERS = tuple(
    f"{verb}_answer" for verb in ("set_load", "on", "off", "select_mode", "set_power")
)
"""What is asked of each command where frames are binary; text has one answer for all."""


def usual_answer(key: str, field: FieldInfo, so_far: dict[str, Any]) -> str:
    """Return what Enter answers to the question `key`; empty where it must be answered."""
    by_answers = usual_by_answers(so_far)
    if key in by_answers:
        return by_answers[key]
    if field.is_required() or (so_far.get("frames") == "binary" and key in OF_TEXT):
        return ""
    usual = field.default
    return ", ".join(usual) if isinstance(usual, tuple) else str(usual)


def is_asked(key: str, so_far: dict[str, Any]) -> bool:
    """Return whether the question `key` makes sense after the answers given so far."""
    reached, is_binary = str(so_far.get("reached", "")), so_far.get("frames") == "binary"
    if key == "baud":
        return reached != NONE and not is_host(reached) and "::" not in reached
    if reached == NONE:
        return False
    if key == "load_reply":
        return bool(so_far.get("load") != NONE)
    if key == "max_limit_s":
        return "{limit_" in str(so_far.get("on", ""))
    if key in (*OWN_ANSWERS, "identify_reply"):
        return is_binary
    if key == "answer":
        return not is_binary
    return is_frame_key_asked(key, so_far)


def is_address(reached: str) -> bool:
    """Return whether `reached` names a serial port, a host and a port, or a VISA resource."""
    if _SERIAL_PORT.fullmatch(reached) is not None:
        return True
    return " " not in reached and ("::" in reached or is_host(reached))


def is_host(reached: str) -> bool:
    """Return whether `reached` names a host and a port."""
    host, _, port = reached.rpartition(":")
    return host != "" and "::" not in reached and port.isdigit()
