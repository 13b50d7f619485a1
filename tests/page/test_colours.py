"""RF has one colour on page and terminal, and every ground lets its words be read."""

import re
from pathlib import Path

import pytest
from rich.style import Style

from ohmwright import page
from ohmwright.cli.screen import pieces

CSS = Path(page.__file__).with_name("static") / "page.css"
PAIR = re.compile(r"--on: (#\w{6}); --on-ink: (#\w{6}); --stop: (#\w{6}); --stop-ink: (#\w{6})")
GROUNDS = PAIR.findall(CSS.read_text(encoding="utf-8"))
READABLE = 4.5
"""Contrast of words of any size (WCAG 2.2, level AA, 1.4.3)."""


def luminance(colour: str) -> float:
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def words_and_ground(style: str) -> tuple[str, str]:
    parsed = Style.parse(style)
    assert parsed.color is not None
    assert parsed.bgcolor is not None
    return parsed.color.name, parsed.bgcolor.name


def test_both_grounds_of_the_page_name_the_colours_of_rf() -> None:
    assert len(GROUNDS) == 3  # light, dark by the system, dark as chosen
    assert GROUNDS[1] == GROUNDS[2]


@pytest.mark.parametrize("colours", GROUNDS)
def test_words_on_rf_and_stop_can_be_read(colours: tuple[str, str, str, str]) -> None:
    on, on_ink, stop, stop_ink = colours
    assert contrast(on, on_ink) >= READABLE
    assert contrast(stop, stop_ink) >= READABLE


@pytest.mark.parametrize("style", [pieces.LIVE, pieces.COMING, pieces.ALARM])
def test_the_terminal_can_be_read(style: str) -> None:
    assert contrast(*words_and_ground(style)) >= READABLE


def test_the_terminal_has_the_colours_of_the_page() -> None:
    on, on_ink, stop, stop_ink = GROUNDS[0]
    assert words_and_ground(pieces.LIVE) == (on_ink, on)
    assert words_and_ground(pieces.ALARM) == (stop_ink, stop)
