"""What a person must see is on the screen, large enough, and names what it speaks of."""

import re
import time
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from .browsing import LONG_ACTIVATION, Hands, Person
from .conftest import Site, page_settings, serving

SCREENS = ((360, 740), (1024, 768))
HOLD = ".cue[data-kind=hold]:has(.cue-seen)"
PATIENCE_S = 120.0
"""Longer than a practice takes to its first hold on a computer that has much else to do."""
_CUES = """cues => cues.filter((cue) => cue.checkVisibility()).map((cue) => {
  const [big, ...others] = ['big', 'words', 'seen'].map((name) => cue.querySelector(`.cue-${name}`))
  const size = (one) => parseFloat(getComputedStyle(one).fontSize)
  return [big.textContent, ...[big, ...others].map(size)]
})"""


def resized(page: Page, size: tuple[int, int]) -> float:
    """Show the top of the page on a screen of this size; return where its foot begins."""
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.evaluate("scrollTo(0, 0)")
    box = page.locator("#foot").bounding_box()
    assert box is not None
    return box["y"]


def end_y(one: Locator) -> float:
    box = one.bounding_box()
    assert box is not None
    return box["y"] + box["height"]


def test_a_practice_shows_what_is_asked_and_how_it_ended(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(page_settings(tmp_path, practice_speed=3.0), monkeypatch) as site:
        person = Person.admitted(browser, site)
        page = person.page
        person.go("#/practice")
        person.begin("Practice", unattended=False)
        page.locator(".request-text").wait_for()
        foot = resized(page, (1024, 768))
        keys = page.locator(".panel :is(button, select, input)")
        assert [one.inner_text() for one in keys.all() if end_y(one) > foot] == []
        resized(page, (360, 740))
        for one in keys.all():
            one.click(trial=True)  # reached by scrolling, and nothing lies over it
        page.keyboard.press("x")
        for where in ("0", "document.body.scrollHeight"):
            page.evaluate(f"scrollTo(0, {where})")
            expect(page.locator("#line")).to_contain_text("none of the answers")
            expect(page.locator("#line")).to_be_in_viewport(ratio=1)
        expect(page.locator("#printed")).to_have_text(
            re.compile(r"Printed 20..-..-.. ..:..:.. UTC .*: Practice bench, .*, practice$")
        )
        resized(page, (1024, 768))
        words, large, said, seen = cue_to_hold(Hands(page, reaction_s=0.0))
        assert (words, large > 30, seen) == ("HOLD", True, said)
        person.go("#/")
        stop_from_afar(person, site)
        person.go("#/practice")
        alarms = page.locator(".notices [data-urgency=alarm]")
        warning = alarms.filter(has_text="may still be in service mode")
        expect(warning).to_be_visible()
        for size in SCREENS:
            foot = resized(page, size)
            for one in (page.locator(".rf-row"), page.locator(".state"), warning):
                assert end_y(one) <= foot, (size, one)
            assert end_y(warning) < end_y(page.locator(".debrief")) < end_y(page.locator(".start"))
        for box in (warning, page.locator(".notices")):
            assert box.evaluate("one => one.scrollHeight <= one.clientHeight"), "it is cut"
        assert person.complaints == []


def cue_to_hold(hands: Hands) -> tuple[str, float, float, float]:
    """Do what is said until the unit is to be held; return that cue's word and its sizes in px.

    The presses before it were seen by the meter. The cue is read in the look that finds it.
    """
    until = time.monotonic() + PATIENCE_S
    while time.monotonic() < until:
        if seen := hands.page.locator(HOLD).evaluate_all(_CUES):
            return seen[0]
        hands.look()
        hands.page.wait_for_timeout(40)
    raise AssertionError(f"never told to hold:\n{hands.page.locator('main').inner_text()}")


def stop_from_afar(person: Person, site: Site) -> None:
    """Stop a practice from the view of all benches, which says what it stops and what was read."""
    page = person.page
    expect(page.locator(".bench h2", has_text="Practice bench")).to_be_visible()
    expect(page.locator("#stop")).to_contain_text("switches RF off: Practice bench, PRACTICE ·")
    page.locator("#stop").click()
    read = re.compile(r"Practice bench: RF read as off at \d\d:\d\d:\d\d\.")
    expect(page.locator(".after-stop")).to_have_text(read)
    assert not site.hardware[-1].truth.rf_on


def test_a_run_that_is_stopped_from_afar_is_named(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "long.toml").write_text(LONG_ACTIVATION)
    settings = page_settings(tmp_path, 4.0, tmp_path / "long.toml")
    with serving(settings, monkeypatch) as site:
        person = Person.admitted(browser, site)
        person.go("#/records")
        expect(person.page.get_by_text("Nothing is on record yet.")).to_be_visible()
        person.go("#/bench/1")
        person.begin("One long", work="as found")
        person.sees("on")
        person.go("#/records")
        stop = person.page.locator("#stop")
        expect(stop).to_contain_text("switches RF off: Workshop bench 1, HF-017 ·")
        stop.click()
        read = re.compile(r"^Workshop bench 1: RF read as off at \d\d:\d\d:\d\d\.$")
        expect(person.page.locator(".after-stop")).to_have_text(read)
        person.go("#/bench/1")
        person.sees_state("Stopped")
        expect(person.page.locator("#printed")).to_contain_text(", run 20")
        person.begin("One long", work="as found")
        person.sees("on")
        expect(person.page.locator(".after-stop")).to_be_hidden()
        person.page.locator("#stop").click()
        person.sees_state("Stopped")
        person.go("#/records")
        person.page.get_by_label("Search the records").fill("nobody")
        expect(person.page.get_by_text("No run on record is like that.")).to_be_visible()
        assert person.complaints == []
