"""What is pressed on a page that hears nothing is not obeyed later, and nothing old looks new."""

import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Route, expect

from ohmwright.model.errors import UsageError
from ohmwright.page.fresh import FRESH_S, require_fresh

from .browsing import LONG_ACTIVATION, SETTLED_MS, Person
from .conftest import Site, page_settings, serving

LATE_MS = 1000 * (FRESH_S + 1)
CONNECTIONS = 6
"""To one server by one browser, by the trade's custom: common practice, no source."""
BEGIN = {"procedure": 0, "work": "as found", "unattended": True}


@pytest.fixture
def place(tmp_path: Path) -> Path:
    (tmp_path / "long.toml").write_text(LONG_ACTIVATION)
    return tmp_path


@pytest.fixture
def site(place: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    with serving(page_settings(place, 1.0, place / "long.toml"), monkeypatch) as site:
        yield site


@pytest.mark.parametrize("heard", ["94.9", "-inf", "nan", "soon", ""])
def test_an_old_order_is_refused(heard: str) -> None:
    with pytest.raises(UsageError):
        require_fresh(heard, 100.0)


@pytest.mark.parametrize("heard", [None, "95.0", "100.0"])
def test_a_fresh_order_is_taken(heard: str | None) -> None:
    require_fresh(heard, 100.0)


def test_a_run_is_begun_by_a_fresh_order_alone_and_stopped_by_any(site: Site) -> None:
    client = site.client()
    with client.screen() as screen:
        refused = client.post("/benches/1/begin", BEGIN, x_heard_s="0")
        assert refused.status == 409
        assert "had not heard of the bench" in refused.json["happened"]
        told = screen.next("beat")
        assert client.post("/benches/1/begin", BEGIN, x_heard_s=str(told["at_s"])).status == 200
        stopped = client.post("/benches/1/stop", x_heard_s="0")
        assert stopped.json == {"stopping": True}


def test_an_answer_that_comes_late_switches_nothing_on(browser: Browser, site: Site) -> None:
    held = list[Route]()
    person = Person.admitted(browser, site)
    page, line = person.page, person.page.locator("#line")
    person.go("#/practice")  # where a real person is asked
    person.begin("Practice", unattended=False)
    asked = page.locator(".request-text")
    words = asked.inner_text()
    page.wait_for_timeout(SETTLED_MS)
    page.route("**/say", lambda route: held.append(route))
    with page.expect_request("**/say"):
        page.locator(".answer").first.click()
    page.wait_for_timeout(LATE_MS)
    held[0].continue_()
    expect(line).to_contain_text("pressed on a screen that had not heard of the bench")
    expect(asked).to_have_text(words)
    assert list(site.hardware[0].truth.rf_on_intervals) == []
    page.get_by_text("Something else").click()
    page.get_by_label("Reason or comment").fill("a" * 401)
    page.get_by_role("button", name="Comment for the record").click()
    expect(line).to_contain_text("401 letters, and 400 can be kept")
    page.unroute("**/say")
    page.locator(".answer").first.click()
    expect(page.locator(".request-text", has_text=words)).to_have_count(0)


def test_a_stop_that_was_not_heard_is_to_be_pressed_again(browser: Browser, site: Site) -> None:
    person = Person.admitted(browser, site)
    page, alert = person.page, person.page.locator(".unheard")
    person.go("#/practice")
    person.begin("Practice", unattended=False)
    expect(page.locator(".request-text")).to_be_visible()
    page.route("**/stop", lambda route: route.abort())
    page.locator("#stop").click()
    expect(alert).to_contain_text("STOP WAS NOT HEARD")
    expect(alert).to_contain_text("The server is heard again: press STOP once more.")
    expect(alert).not_to_contain_text("does not answer")
    page.unroute("**/stop")
    page.locator("#stop").click()
    person.sees_state("Stopped")
    expect(alert).to_be_hidden()


def test_a_stop_is_heard_though_the_tabs_of_the_browser_take_all_its_connections(
    browser: Browser, site: Site
) -> None:
    person = Person.admitted(browser, site)
    page = person.page

    def open_tab() -> None:
        tab = page.context.new_page()
        tab.goto(f"http://{site.host}/")
        expect(tab.locator(".bench").first).to_be_visible()
        page.bring_to_front()

    for _ in range(CONNECTIONS - 2):
        open_tab()
    person.go("#/bench/1")
    person.begin("One long", work="as found")
    person.sees("on")
    open_tab()  # it takes the last
    page.locator("#stop").click()
    person.sees_state("^Stopped")
    assert not site.hardware[0].truth.rf_on


def test_after_a_sleep_nothing_is_shown_as_present(browser: Browser, site: Site) -> None:
    page = Person.admitted(browser, site).page
    silent = page.evaluate("""async () => {
      const { isSilent } = await import('/static/store.js')
      while (isSilent()) await new Promise((done) => setTimeout(done, 20))
      const now = Date.now
      Date.now = () => now() + 3600000  // all that tells a computer of its sleep
      const silent = isSilent()
      Date.now = now
      return silent
    }""")
    assert silent


def test_another_text_than_the_screen_listed_is_not_run(
    browser: Browser, site: Site, place: Path
) -> None:
    person = Person.admitted(browser, site)
    page = person.page
    person.go("#/bench/1")
    person.choose("One long", work="as found")
    option = page.locator("select[name=procedure] option:checked")
    digest = option.get_attribute("data-digest") or ""
    (place / "long.toml").write_text(LONG_ACTIVATION.replace("= 100\n", "= 110\n"))
    begin = page.get_by_role("button", name="Begin")
    with page.expect_response("**/begin") as refused:  # its words are shown for 10 s alone
        begin.click()
    assert "was changed since this screen listed it" in refused.value.json()["happened"]
    assert site.hardware == []
    expect(option).not_to_have_attribute("data-digest", digest)  # the list is of now
    begin.click()
    person.sees("on")


@pytest.mark.parametrize("has_learned", [True, False])
def test_a_server_begun_anew_leaves_rf_unknown_and_takes_its_address_in_the_same_tab(
    browser: Browser, place: Path, monkeypatch: pytest.MonkeyPatch, *, has_learned: bool
) -> None:
    """`has_learned`: whether the address is given after the screen was told that it is unknown."""
    settings = page_settings(place, 1.0, place / "long.toml")
    with serving(settings, monkeypatch) as site:
        person = Person.admitted(browser, site)
        page = person.page
        person.go("#/bench/1")
        person.begin("One long", work="as found")
        person.sees("on")
        if not has_learned:
            page.route("**/news", lambda route: route.abort())
    again = replace(settings, port=urlsplit(site.addresses[0]).port)
    with serving(again, monkeypatch) as anew:
        if has_learned:
            expect(page.locator("h1")).to_have_text("This browser was not admitted")
            strip = page.locator(".elsewhere li")
            expect(strip).to_have_text(re.compile("^RF NOT KNOWN HEREWorkshop bench 1, HF-017"))
        else:
            person.sees("unknown")
        expect(page.locator("#stop")).to_contain_text("Switch RF off at the unit itself")
        page.goto(anew.fresh_address())
        page.unroute("**/news")
        expect(page.locator(".bench .rf").first).to_have_attribute("data-look", "idle")


def test_who_watches_is_told_that_a_key_answers_nothing(browser: Browser, site: Site) -> None:
    person, other = Person.admitted(browser, site), Person.admitted(browser, site)
    for each in (person, other):
        each.go("#/practice")
    person.begin("Practice", unattended=False)
    expect(other.page.locator(".command")).to_contain_text("commands; this one watches")
    key = other.page.locator(".answer kbd").first.inner_text()
    other.page.keyboard.press(key)
    line = other.page.locator("#line")
    expect(line).to_contain_text("Nothing was answered: screen 1 commands this bench")
    other.page.get_by_role("button", name="Ask for the command").click()
    person.page.get_by_role("button", name="Hand over").click()
    expect(other.page.locator(".command")).to_contain_text("This screen commands")
    expect(line).to_be_hidden()  # what was told is so no more
