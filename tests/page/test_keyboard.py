"""The page by keyboard alone, and in two tabs of one browser."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from .browsing import LONG_ACTIVATION, Person
from .conftest import page_settings, serving

_MARK = """() => {
  const said = []
  const all = document.querySelectorAll('a[href], button, input, select, textarea, summary')
  for (const one of all) {
    if (!one.checkVisibility() || one.disabled) continue
    one.dataset.place = said.length
    said.push(`${one.tagName} ${one.innerText || one.name || one.ariaLabel}`)
  }
  document.activeElement.blur()
  return said
}"""
_AT = "() => document.activeElement.dataset?.place ?? null"
_OUTLINE = "() => getComputedStyle(document.activeElement).outlineStyle"


@pytest.fixture
def place(tmp_path: Path) -> Path:
    (tmp_path / "long.toml").write_text(LONG_ACTIVATION)
    return tmp_path


def not_reached(page: Page) -> list[str]:
    """What can be worked in the view that is shown, and is not reached, or not shown, by Tab."""
    known = page.evaluate(_MARK)
    left = dict(enumerate(known))
    for _ in range(len(known) + 3):
        page.keyboard.press("Tab")
        at = page.evaluate(_AT)
        if at is not None and page.evaluate(_OUTLINE) != "none":
            left.pop(int(at), None)
    return list(left.values())


def reach(page: Page, wanted: Locator) -> None:
    """Press Tab until this is in focus."""
    for _ in range(60):
        if wanted.evaluate("one => one === document.activeElement"):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"not reached: {wanted}")


def test_whatever_can_be_worked_is_reached_by_tab(
    browser: Browser, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(page_settings(place, 20.0), monkeypatch) as site:
        person = Person.admitted(browser, site, reduced_motion="reduce")
        person.go("#/practice")
        person.begin("Practice", unattended=False)
        expect(person.page.locator(".request-text")).to_be_visible()
        person.page.locator(".request summary").first.click()  # what lies within counts, too
        assert not_reached(person.page) == []
        for view in ("#/", "#/bench/1", "#/bench/1/procedure/0", "#/worklist", "#/records"):
            person.go(view)
            expect(person.page.locator("h1")).not_to_have_text("")
            person.page.wait_for_timeout(500)  # lists are drawn as they come
            assert not_reached(person.page) == [], view


def test_a_run_is_begun_and_stopped_with_keys_alone(
    browser: Browser, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(page_settings(place, 1.0, place / "long.toml"), monkeypatch) as site:
        person = Person.admitted(browser, site)
        page, form = person.page, person.page.locator("form.start")
        reach(page, page.get_by_role("link", name="Workshop bench 1"))
        page.keyboard.press("Enter")
        expect(form.locator("option", has_text="One long")).to_be_attached()
        reach(page, form.locator("select[name=procedure]"))
        page.keyboard.type("One long")
        reach(page, form.locator("select[name=work]"))
        page.keyboard.type("Measure")
        reach(page, form.locator("input[name=unattended]"))
        page.keyboard.press("Space")
        reach(page, page.get_by_role("button", name="Begin"))
        page.keyboard.press("Enter")
        person.sees("on")
        reach(page, page.locator("#stop"))
        page.keyboard.press("Enter")
        person.sees_state("Stopped")
        assert not site.hardware[0].truth.rf_on
        assert 0 < site.hardware[0].truth.rf_on_s < 25
        assert person.complaints == []


def test_a_second_tab_watches_and_stops_and_does_not_command(
    browser: Browser, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(page_settings(place, 1.0, place / "long.toml"), monkeypatch) as site:
        person = Person.admitted(browser, site)
        person.go("#/bench/1")
        person.begin("One long", work="as found")
        person.sees("on")
        with (
            person.page.context.expect_page() as opened
        ):  # with the first one's key, as browsers do
            person.page.evaluate("() => { open('/#/bench/1') }")
        other = Person(opened.value)
        other.sees("on")
        expect(other.page.locator(".command")).to_contain_text("commands; this one watches")
        numbers = {each.page.locator(".screen-number").text_content() for each in (person, other)}
        assert len(numbers) == 2
        other.page.keyboard.press("Space")
        person.sees_state("Stopped")
        assert not site.hardware[0].truth.rf_on
        expect(other.page.get_by_role("button", name="Begin")).to_be_disabled()
        expect(person.page.get_by_role("button", name="Begin")).to_be_enabled()
