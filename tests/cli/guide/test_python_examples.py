"""The Python of README and guide is pasted and run: as a script, and where a loop runs already."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from ohmwright.engine import steps
from ohmwright.engine.procedure import rebuild
from ohmwright.model import decision

SHOWN = "# > "
"""Begins a comment that says what is printed."""
# the guide is shown to notebooks, and run here in none
pytestmark = pytest.mark.filterwarnings("ignore:LivePlot draws in a notebook")


@pytest.fixture(autouse=True)
def _own_step_kinds(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    with monkeypatch.context() as own:
        own.setattr(steps, "_ADDED", {})
        own.setattr(decision, "_ADDED", {})
        yield
    steps.step_kinds.cache_clear()
    rebuild()


def fences(all_examples: list[Any], page: str, *, loop: bool) -> list[Any]:
    """Every Python fence of a page; where a loop runs, those that are no script of their own."""
    found = [e for e in all_examples if e.page == page and e.words[0] == "python"]
    return [e for e in found if not (loop and "script" in e.words)]


def run_all(examples: list[Any], capsys: pytest.CaptureFixture[str]) -> None:
    """Run the fences of a page one after another, as the cells of a notebook."""
    names: dict[str, Any] = {"__name__": "pasted"}
    for example in examples:
        exec(compile(example.text, str(example), "exec", dont_inherit=True), names)
        shown = [
            line.removeprefix(SHOWN) for line in example.text.splitlines() if line.startswith(SHOWN)
        ]
        printed = capsys.readouterr().out.splitlines()
        assert printed == shown or "script" in example.words, f"{example} prints {printed}"


async def in_a_loop(examples: list[Any], capsys: pytest.CaptureFixture[str]) -> None:
    run_all(examples, capsys)


@pytest.mark.parametrize("loop", [False, True], ids=["script", "notebook"])
def test_the_engineer_s_eight_lines_of_readme_draw_a_power_curve(
    all_examples: list[Any], guide_files: Path, capsys: pytest.CaptureFixture[str], loop: bool
) -> None:
    (example,) = fences(all_examples, "README", loop=loop)
    assert len([line for line in example.text.splitlines() if line]) <= 8
    if loop:
        asyncio.run(in_a_loop([example], capsys))
    else:
        run_all([example], capsys)
    assert (guide_files / "curve.png").read_bytes().startswith(b"\x89PNG")
    assert len((guide_files / "curve.csv").read_text().splitlines()) > 5


@pytest.mark.parametrize("loop", [False, True], ids=["script", "notebook"])
def test_the_page_on_python_does_and_prints_what_it_shows(
    all_examples: list[Any], guide_files: Path, capsys: pytest.CaptureFixture[str], loop: bool
) -> None:
    examples = fences(all_examples, "python", loop=loop)
    assert sum(SHOWN in example.text for example in examples) > 6
    if loop:
        asyncio.run(in_a_loop(examples, capsys))
    else:
        run_all(examples, capsys)
    assert (guide_files / "as-found.pdf").read_bytes().startswith(b"%PDF")
    assert "cool_down" in steps.step_kinds()


def test_every_public_name_is_on_the_page(page_text: Callable[[str], str]) -> None:
    import ohmwright

    page = page_text("python")
    assert all(f"`{name}`" in page.partition("## Before")[0] for name in ohmwright.__all__)
    assert all(getattr(ohmwright, name) is not None for name in ohmwright.__all__)
