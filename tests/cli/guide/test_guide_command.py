"""`ohmwright guide`: the topics, a page for a terminal, its Markdown in a pipe."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console
from rich.markdown import Markdown

from ohmwright import guide
from ohmwright.model import errors


def test_without_a_topic_every_one_is_listed_with_what_it_holds(ohmwright: Callable) -> None:
    outcome = ohmwright("guide")
    assert outcome.code == 0
    listed = [line.split()[0] for line in outcome.out.splitlines()]
    assert listed[:-1] == list(guide.TOPICS)
    assert "how a value is held against its limits" in outcome.out


def test_a_page_in_a_pipe_is_its_markdown(ohmwright: Callable) -> None:
    outcome = ohmwright("guide", "safety")
    assert (outcome.code, outcome.out) == (0, guide.page("safety"))


def test_an_unknown_topic_is_told_with_those_there_are(ohmwright: Callable) -> None:
    outcome = ohmwright("guide", "saftey")
    assert outcome.code == 2
    assert "no topic 'saftey'" in outcome.err
    assert "running, practise" in outcome.err


@pytest.mark.parametrize("height", [25, 2000])
def test_a_page_at_a_terminal_is_laid_out_and_paged_where_it_is_long(
    ohmwright: Callable, monkeypatch: pytest.MonkeyPatch, height: int
) -> None:
    paged = list[str]()
    terminal = Console(force_terminal=True, width=200, height=height, color_system=None)
    monkeypatch.setattr("rich.pager.SystemPager.show", lambda self, content: paged.append(content))
    monkeypatch.setattr("ohmwright.cli.guide_command.out", lambda: terminal)
    outcome = ohmwright("guide", "decisions")
    shown = paged[0] if height == 25 else outcome.out
    assert bool(paged) == (height == 25)
    assert "| rule |" not in shown
    assert "\x1b" not in shown
    assert "95 % on each side" in shown
    assert max(map(len, shown.splitlines())) <= 100


def test_every_page_has_a_topic_and_a_title(all_tables: Any) -> None:
    files = {path.stem for path in Path(guide.__file__).parent.glob("*.md")}
    assert files == set(guide.TOPICS)
    for topic in guide.TOPICS:
        assert guide.page(topic).startswith(f"# {topic.replace('_', ' ').capitalize()}: ")
        assert 10 < len(guide.summary(topic)) <= 66


@pytest.mark.parametrize("width", [80, 100])
def test_a_page_fits_its_terminal_without_a_word_cut(
    guide_page: str, width: int, page_text: Callable[[str], str]
) -> None:
    """No key, option or figure of a table may be broken over two lines."""
    text = page_text(guide_page)
    screen = Console(width=width, force_terminal=True, color_system=None, record=True)
    with screen.capture() as captured:
        screen.print(Markdown(text))
    shown = captured.get()
    for word in re.findall(r"^\| `([^`]+)`", text, re.MULTILINE):
        assert any(word in line for line in shown.splitlines()) or " " in word, word


def test_readme_lists_the_guide_as_the_command_does(all_tables: dict[tuple[str, str], Any]) -> None:
    rows = all_tables["README", "topic"].rows
    links = {f"[{topic}](src/ohmwright/guide/{topic}.md)": topic for topic in guide.TOPICS}
    assert {links[key]: cells[0] for key, cells in rows.items()} == {
        topic: guide.summary(topic) for topic in guide.TOPICS
    }


def test_exit_codes_are_told_alike(all_tables: dict[tuple[str, str], Any]) -> None:
    every = {kind.exit_code for kind in vars(errors).values() if hasattr(kind, "exit_code")}
    rows = all_tables["running", "code"].rows
    assert {int(code) for code in rows} == every | {0, 1}


def test_help_does_not_import_what_the_guide_needs() -> None:
    call = (
        "import sys; from ohmwright.cli import main; sys.argv = ['ohmwright', '--help']\n"
        "try: main.main()\n"
        "except SystemExit: sys.exit(3 if 'rich.markdown' in sys.modules else 0)"
    )
    done = subprocess.run([sys.executable, "-c", call], capture_output=True)
    assert done.returncode == 0
