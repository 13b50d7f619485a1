"""The figures beneath the gauge can be read at every width that it has."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from .browsing import Person
from .conftest import page_settings, serving

OVERLAPS = """async width => {
  const { gauge } = await import('/static/gauge.js')
  const made = gauge(), box = document.createElement('div')
  box.style.width = `${width}px`
  box.append(made.element)
  document.querySelector('main').replaceChildren(box)
  const figures = ['1886.4', '1900.0', '1914.5']
  const band = { target_ma: 1900, upper_ma: 1914.5, position: 0, movement: 'settled', figures }
  made.update({ band })
  const ranges = [...box.querySelector('.gauge-figures').children].map(one => {
    const range = document.createRange()
    range.selectNodeContents(one)
    return range.getBoundingClientRect()
  })
  return ranges.some((a, i) => ranges.slice(i + 1).some(b =>
    a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom))
}"""


def test_no_limit_is_beneath_the_target(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(page_settings(tmp_path, 5.0), monkeypatch) as site:
        page = Person.admitted(browser, site).page
        for width_px in (300, 500, 608, 700, 930, 1228):
            assert page.evaluate(OVERLAPS, width_px) is False, width_px
