"""The mark in lists of what rests on no analyzer certificate, or on one past due, and its notes."""

from __future__ import annotations

from rich.text import Text

from ohmwright.records.qualified import Key, Qualified
from ohmwright.reports.verdict_grounds import PAST_DUE_NOTE, READINGS_MARK, UNCOVERED_NOTE

from .console import out


def mark_of(key: Key, marked: Qualified[Key]) -> str:
    """Return the mark behind a verdict or risk; empty where it is not to be qualified."""
    return READINGS_MARK if key in marked else ""


def print_marks(marked: Qualified[Key], uncovered_note: str = UNCOVERED_NOTE) -> None:
    """Print beneath a list what its mark means; nothing where nothing is marked."""
    if marked.uncovered:
        out().print(Text(uncovered_note, style="dim"), soft_wrap=True)
    if marked.past_due:
        out().print(Text(PAST_DUE_NOTE, style="dim"), soft_wrap=True)
