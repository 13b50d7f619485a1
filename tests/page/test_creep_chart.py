"""The figures beside a chart of creep can be read, however narrow its limits are."""

import pytest
from playwright.sync_api import Browser

from .browsing import Person
from .conftest import Site

FIGURES = """async half => {
  const { creepChart } = await import('/static/creep_chart.js')
  const point = { lower: 100 - half, target: 100, upper: 100 + half, figures: ['low', '100', 'up'],
    seen: [[2026.1, 110, 2, false]], ahead: [[2027, 110, 90, 105, 115, 130]] }
  const chart = creepChart(point, 2026.9, 'words')
  document.querySelector('main').replaceChildren(chart)
  const told = [...chart.querySelectorAll('text')].filter(one => one.getAttribute('x') === '80')
  const boxes = told.map(one => one.getBoundingClientRect())
  return [told.map(one => one.textContent),
    boxes.some((a, i) => boxes.slice(i + 1).some(b => a.top < b.bottom && b.top < a.bottom))]
}"""


@pytest.mark.parametrize(
    ("half", "told"), [(0.5, ["low", "up"]), (20.0, ["low", "100", "up"])], ids=["narrow", "wide"]
)
def test_figures_of_limits_do_not_overlap(
    shared: Site, browser: Browser, half: float, told: list[str]
) -> None:
    page = Person.admitted(browser, shared, viewport={"width": 390, "height": 844}).page
    assert page.evaluate(FIGURES, half) == [told, False]
