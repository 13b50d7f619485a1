"""Names in messages, so that two that look alike are told apart."""

from __future__ import annotations


def seen_text(name: str) -> str:
    """`name` with the code of each character that cannot be seen, such as a no-break space."""
    return "".join(char if char.isprintable() else f"‹U+{ord(char):04X}›" for char in name)
