"""Pages for people, in Markdown: one file a topic, `TOPIC.md`.

The first line of a page is its title, `# Topic: what it holds`. Code in a page is an example that
a test runs; the info string of its fence says as what (`tests/cli/guide`).
"""

from __future__ import annotations

from pathlib import Path

TOPICS = (
    "running",
    "procedures",
    "decisions",
    "benches",
    "analyzers",
    "generators",
    "adjusting",
    "sweeps",
    "records",
    "certificates",
    "safety",
    "changes",
)
"""In the order in which they are listed."""


def page(topic: str) -> str:
    """The page on one of `TOPICS`, in Markdown."""
    return Path(__file__).with_name(f"{topic}.md").read_text(encoding="utf-8")


def summary(topic: str) -> str:
    """What the page on `topic` holds, in one line."""
    title, _, _ = page(topic).partition("\n")
    return title.partition(": ")[2]
