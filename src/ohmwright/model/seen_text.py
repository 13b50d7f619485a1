"""Characters that cannot be seen, in visible form, so that texts that look alike are told apart."""

from __future__ import annotations


def character_code(char: str) -> str:
    """The code of a character in visible form, as in ‹U+202E›."""
    return f"‹U+{ord(char):04X}›"


def seen_text(name: str) -> str:
    """`name` with the code of each character that cannot be seen, such as a no-break space."""
    return "".join(char if char.isprintable() else character_code(char) for char in name)
