"""The user guide: one Markdown page for each topic, in `TOPIC.md` beside this module.

The first line of a page is its title, `# Topic: what it holds`. Every code block is an example that
tests/cli/guide/test_examples.py runs; the info string of the block says how. `key_tables` reads the
tables of keys as data.
"""

from __future__ import annotations

from pathlib import Path

TOPICS = (
    "running",
    "practise",
    "procedures",
    "decisions",
    "benches",
    "by_hand",
    "analyzers",
    "own_analyzer",
    "command_sets",
    "generators",
    "adjusting",
    "sweeps",
    "python",
    "rehearsal",
    "testing",
    "page",
    "assets",
    "campaign",
    "records",
    "fleet",
    "certificates",
    "safety",
    "changes",
)
"""Names of the pages, in the order in which they are listed."""


def page(topic: str) -> str:
    """Return the page on one of `TOPICS`, in Markdown."""
    return Path(__file__).with_name(f"{topic}.md").read_text(encoding="utf-8")


def summary(topic: str) -> str:
    """Return what the page on `topic` holds, the part of its title after the colon."""
    title, _, _ = page(topic).partition("\n")
    return title.partition(": ")[2]
