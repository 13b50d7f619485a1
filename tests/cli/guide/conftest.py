"""What stands in the fences of README and guide, for the tests that run it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from markdown_it import MarkdownIt

from ohmwright import guide
from ohmwright.rehearsal import rehearse

ROOT = Path(__file__).parents[3]
PAGES = {"README": ROOT / "README.md"} | {
    topic: Path(guide.__file__).with_name(f"{topic}.md") for topic in guide.TOPICS
}


@dataclass(frozen=True)
class Example:
    """One fence: the words of its info string, its text, and the line where it begins."""

    page: str
    line: int
    words: tuple[str, ...]
    text: str

    def __str__(self) -> str:
        return f"{self.page}:{self.line}"


@dataclass(frozen=True)
class Keys:
    """One table: its heading cell, and of each key in the first column the other cells."""

    page: str
    name: str
    rows: dict[str, tuple[str, ...]]


def examples(page: str) -> list[Example]:
    tokens = MarkdownIt().parse(PAGES[page].read_text(encoding="utf-8"))
    return [
        Example(page, token.map[0] + 1, tuple(token.info.split()), token.content)
        for token in tokens
        if token.type == "fence" and token.map is not None
    ]


def tables(page: str) -> list[Keys]:
    """Every table of `page`. A row of several keys is one row for each."""
    found: list[list[list[str]]] = []
    for token in MarkdownIt().enable("table").parse(PAGES[page].read_text(encoding="utf-8")):
        if token.type == "table_open":
            found.append([])
        elif token.type == "tr_open":
            found[-1].append([])
        elif token.type == "inline" and token.level > 3:
            found[-1][-1].append(token.content)
    return [_keys(page, head, rows) for head, *rows in found]


def _keys(page: str, head: list[str], rows: list[list[str]]) -> Keys:
    by_key = {}
    for first, *others in rows:
        for key in first.split(", "):
            by_key[key.strip("`")] = tuple(others)
    return Keys(page, head[0], by_key)


ALL_EXAMPLES = [example for page in PAGES for example in examples(page)]
ALL_TABLES = [table for page in PAGES for table in tables(page)]


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "guide_page" in metafunc.fixturenames:
        metafunc.parametrize("guide_page", PAGES)
    if "toml_example" in metafunc.fixturenames:
        toml = [each for each in ALL_EXAMPLES if each.words[:1] == ("toml",)]
        metafunc.parametrize("toml_example", toml, ids=str)


@pytest.fixture
def page_text() -> Callable[[str], str]:
    return lambda page: PAGES[page].read_text(encoding="utf-8")


@pytest.fixture
def all_examples() -> list[Example]:
    return ALL_EXAMPLES


@pytest.fixture
def all_tables() -> dict[tuple[str, str], Keys]:
    return {(table.page, table.name): table for table in ALL_TABLES if table.name != "option"}


@pytest.fixture
def guide_files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The working folder, with every named file of README and guide, and a checkout's data."""
    for example in ALL_EXAMPLES:
        if len(example.words) == 3:
            file = tmp_path / example.words[2]
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(example.text, encoding="utf-8")
    (tmp_path / "sim_profiles").symlink_to(ROOT / "sim_profiles")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr(rehearse, "_cores", lambda: 1)  # each process would import all it needs
    return tmp_path
