"""On a phone, or enlarged: nothing that matters is cut off, behind STOP or under RF."""

from playwright.sync_api import Browser, Locator, Page, expect

from .browsing import Person
from .conftest import Site

PHONE = {"width": 390, "height": 844}
ENLARGED = {"width": 512, "height": 384}
"""A tablet of 1024 by 768 at 200 %."""
RESULTS = """async () => {
  const { resultsTable } = await import('/static/results.js')
  const table = resultsTable()
  const one = { stage: 'as_left', step: 'adjust-coag-current', point: 'coag current', unit: 'mA',
    value: 199.3, expanded: 1.6, limits: '195.7 to 201.7 mA', said: '' }
  table.update([{ ...one, verdict: 'pass', ground: 'not traceable',
      reason: 'the adjustment may not have been saved' },
    { ...one, verdict: 'undecided', point: 'other',
      reason: 'too close to a limit: with this scatter of the readings it may be on either side' }])
  document.getElementById('view').append(table.element)
}"""


def y_of(one: Locator) -> tuple[float, float]:
    """Top and bottom of what is on the screen."""
    box = one.bounding_box()
    assert box is not None
    return box["y"], box["y"] + box["height"]


def foot_y(page: Page) -> float:
    return y_of(page.locator("#foot"))[0]


def test_every_part_of_a_result_is_seen_on_a_phone(shared: Site, browser: Browser) -> None:
    """Limits and stage were cut off; a pass told neither its reason nor what it rests on."""
    person = Person.admitted(browser, shared, viewport=PHONE)
    person.page.evaluate(RESULTS)
    table = person.page.locator(".results")
    expect(table).to_contain_text("not traceable")
    expect(table).to_contain_text("the adjustment may not have been saved")
    expect(table.locator("caption")).to_have_text("Results: as left 1 pass, 1 undecided")
    for cell in table.locator("td").all():
        box = cell.bounding_box()
        assert box is not None
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= PHONE["width"], cell.inner_text()
    assert person.complaints == []


def test_what_is_said_of_a_tag_is_seen_on_a_phone(shared: Site, browser: Browser) -> None:
    """A refusal stood behind STOP."""
    person = Person.admitted(browser, shared, viewport=PHONE)
    page = person.page
    person.go("#/bench/1")
    page.locator("input[name=asset]").fill("HF-999")
    page.keyboard.press("Enter")
    said = page.locator(".unit-line")
    expect(said).to_contain_text("HF-999")
    expect(said).to_be_in_viewport()
    assert y_of(said)[1] <= foot_y(page)


def test_what_has_the_focus_is_not_under_rf(shared: Site, browser: Browser) -> None:
    person = Person.admitted(browser, shared, viewport=ENLARGED)
    page = person.page
    person.go("#/bench/1")
    expect(page.get_by_role("button", name="Begin")).to_be_visible()
    page.evaluate("scrollTo(0, document.body.scrollHeight)")
    page.get_by_role("link", name="What would be done").focus()
    for _ in range(6):
        page.keyboard.press("Shift+Tab")
        top, bottom = y_of(page.locator(":focus"))
        assert y_of(page.locator(".rf-row"))[1] <= top + 1, page.locator(":focus").inner_html()
        assert bottom <= foot_y(page) + 1
    assert person.complaints == []


def test_an_enlarged_page_is_not_filled_by_its_bars(shared: Site, browser: Browser) -> None:
    person = Person.admitted(browser, shared, viewport=ENLARGED)
    page = person.page
    expect(page.locator(".bench").first).to_be_visible()
    head = y_of(page.locator("header.top"))[1]
    assert foot_y(page) - head >= 0.7 * ENLARGED["height"]


def test_rf_that_was_not_read_has_another_shape_than_off(shared: Site, browser: Browser) -> None:
    person = Person.admitted(browser, shared)
    drawn = person.page.evaluate("""async () => {
      const { LOUDEST_FIRST, shapeOf } = await import('/static/rf.js')
      return LOUDEST_FIRST.map((look) => shapeOf(look).innerHTML)
    }""")
    assert len(set(drawn)) == len(drawn) == 5
