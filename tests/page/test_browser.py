"""The page in a real browser."""

import os
import time
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from ohmwright.api.records_view import Records
from ohmwright.wire.paced_clock import PacedClock

from .browsing import LONG_ACTIVATION, Hands, Person, axe_findings
from .conftest import LIMIT_S, Site, page_settings, serving

SHORT = """\
title = "Two points and a trim"
revision = "1"
model = "Quillon 300"
[defaults]
rest_s = 12
[[step]]
kind = "power_curve"
name = "cut"
mode = "cut"
setting_w = 310
loads_ohm = [50, 100, 300]
power_w = [40.5, 81, 240]
tolerance = { percent = 6, absolute_w = 5 }
[[step]]
kind = "adjust"
name = "adjust-current"
point = "cut current"
load_ohm = 100
current_ma = 900
tolerance = { absolute_ma = 9 }
max_on_s = 40
"""
TITLE = "Two points and a trim"
WIDTHS = (360, 1024, 1920)


@pytest.fixture
def place(tmp_path: Path) -> Path:
    (tmp_path / "short.toml").write_text(SHORT)
    return tmp_path


def test_an_unattended_calibration_wholly_through_the_page(
    browser: Browser, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(page_settings(place, 5.0, place / "short.toml"), monkeypatch) as site:
        person = Person.admitted(browser, site)
        page = person.page
        assert site.addresses[0].partition("#")[2] not in page.url, "the token is taken away"
        page.get_by_role("link", name="Workshop bench 1").click()
        person.choose(TITLE)
        page.get_by_role("link", name="What would be done").click()
        expect(page.locator(".steps h3").first).to_have_text("cut")
        page.get_by_label("Unattended").check()
        page.goto(page.url.replace("bench/1", "bench/2"))
        expect(page.locator(".text-line[data-severity=refused]").first).to_contain_text("model =")
        page.goto(page.url.partition("#")[0] + "#/bench/1")
        person.choose(TITLE)
        page.get_by_label("Your name").fill("Ada Fell")
        page.get_by_role("button", name="Begin").focus()
        page.keyboard.press("Enter")
        person.sees("on")
        expect(page.locator("#say-rf")).to_have_text("RF ON")
        watcher = Person.admitted(browser, site)
        watcher.go("#/bench/1")
        expect(watcher.page.locator(".command")).to_contain_text("commands; this one watches")
        page.reload()
        person.sees_state("of 7 points")
        page.close()  # the browser is lost
        tablet = watcher.page.context.new_cdp_session(watcher.page)
        tablet.send("Page.setWebLifecycleState", {"state": "frozen"})  # it sleeps
        _hurry(site)  # only now: what is seen before must not depend on how quick the machine is
        end_s = time.monotonic() + LIMIT_S
        while not Records(str(place / "records"))["last"].finished:
            assert time.monotonic() < end_s
            time.sleep(0.2)
        tablet.send("Page.setWebLifecycleState", {"state": "active"})
        watcher.sees_state("Ended: pass")
        watcher.page.get_by_role("link", name="Records").click()
        watcher.page.get_by_label("Search the records").fill("two points ada")
        watcher.page.locator("td:first-child a").click()
        expect(watcher.page.get_by_role("link", name="Certificate", exact=True)).to_be_visible()
        expect(watcher.page.locator("figure img")).to_have_count(1)
        assert not site.hardware[0].truth.rf_on
        assert (person.complaints, watcher.complaints) == ([], [])
        run = Records(str(place / "records"))["last"]
    assert run.verdict == "pass"
    assert {one.stage for one in run.results} == {"as_found", "adjust", "as_left"}


def test_what_was_chosen_is_still_chosen_after_a_look_at_what_would_be_done(
    browser: Browser, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(page_settings(place, 5.0, place / "short.toml"), monkeypatch) as site:
        person = Person.admitted(browser, site)
        page, form = person.page, person.page.locator("form.start")
        person.go("#/bench/1")
        person.choose(TITLE, work="as found")
        page.get_by_label("Room temperature in °C").press_sequentially("21,5")
        humidity = page.get_by_label("Relative humidity in %")
        humidity.fill("450")
        page.get_by_text("What would be done").click()
        page.get_by_text("← the bench").click()
        expect(form.locator("select[name=procedure] option:checked")).to_contain_text(TITLE)
        expect(form.locator("select[name=work]")).to_have_value("as found")
        expect(form.locator("input[name=unattended]")).to_be_checked()
        expect(page.get_by_label("Room temperature in °C")).to_have_value("21,5")
        page.get_by_role("button", name="Begin").click()
        said = "Type a number from 0 to 100, such as 45.5 or 45,5."
        assert humidity.evaluate("field => field.validationMessage") == said
        humidity.fill("9,5")
        page.get_by_role("button", name="Begin").click()
        person.sees_state("Ended")
        expect(page.locator("caption")).to_have_text("Results of HF-017: as found 3 fail")
        page.get_by_text("Its record and certificate").click()
        expect(page.locator("main")).to_contain_text("21.5 °C, 9.5 % relative humidity")
        page.set_viewport_size({"width": 390, "height": 844})
        results = page.get_by_role("region", name="Results")
        assert results.evaluate("card => card.scrollWidth - card.clientWidth") == 0
        assert person.complaints == []


def test_an_answer_stands_among_the_results(
    browser: Browser, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked = '[[step]]\nkind = "inspection"\nname = "cords"\nquestion = "Are the cords sound?"\n'
    (place / "asked.toml").write_text(SHORT.replace("[[step]]", f"{asked}[[step]]", 1))
    with serving(page_settings(place, 20.0, place / "asked.toml"), monkeypatch) as site:
        person = Person.admitted(browser, site)
        person.go("#/bench/1")
        person.begin(TITLE, work="as found", unattended=False)
        person.sees_state("Ended")
        row = person.page.get_by_role("row", name="cords")
        expect(row.get_by_role("cell", name="yes", exact=True)).to_be_visible()


def test_practice_is_worked_at_the_keys_on_the_page(
    browser: Browser, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(page_settings(place, practice_speed=5.0), monkeypatch) as site:
        person = Person.admitted(browser, site)
        person.page.get_by_role("link", name="Practice").click()
        expect(person.page.get_by_role("button", name="Begin")).to_be_visible()
        expect(person.page.get_by_text("Unattended")).to_be_hidden()  # nothing of it is kept
        expect(person.page.get_by_label("Room temperature in °C")).to_be_hidden()
        person.begin("Practice", unattended=False)
        person.page.locator(".request-text").wait_for()  # the unit is there, and waits
        began = site.hardware[0].truth.trims["P1"]
        hands = Hands(person.page, reaction_s=0.05)
        assert beyond_first_screen(person.page, ".request") == {}
        person.page.set_viewport_size({"width": 1280, "height": 900})
        hands.look()
        person.page.locator(".cue[data-kind=press]").wait_for()
        assert beyond_first_screen(person.page, ".cue") == {}
        hands.work_until("Ended: pass")
        went = person.page.locator(".debrief")
        expect(went).to_contain_text("a practised person (simulated)")
        expect(went.locator("tr", has_text="you").locator("td").nth(1)).to_have_text(
            str(hands.presses)
        )
        truth = site.hardware[0].truth
        assert truth.presses == hands.presses > 0
        assert truth.trims["P1"] != began
        assert not truth.rf_on
        assert not (place / "records").exists(), "nothing is kept of it"
        assert person.complaints == []


def beyond_first_screen(page: Page, asked: str) -> dict[str, float]:
    """What lies below the first screen of those that must be seen together, by size and name."""
    found = {}
    for width, height in ((1024, 768), (1280, 720), (360, 740)):
        page.set_viewport_size({"width": width, "height": height})
        page.evaluate("scrollTo(0, 0)")
        top = page.locator("#stop-bar").bounding_box()
        assert top is not None
        for name in (".reading", asked, ".panel-keys"):
            box = page.locator(name).bounding_box()
            assert box is not None, name
            if box["y"] < 0 or box["y"] + box["height"] > top["y"]:
                found[f"{name} at {width} x {height}"] = box["y"] + box["height"] - top["y"]
    return found


def test_stop_and_the_space_bar(
    browser: Browser, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (place / "long.toml").write_text(LONG_ACTIVATION)
    with serving(page_settings(place, 2.0, place / "long.toml"), monkeypatch) as site:
        person, other = Person.admitted(browser, site), Person.admitted(browser, site)
        for each in (person, other):
            each.go("#/bench/1")
        for stop in (
            lambda: other.page.locator("#stop").click(),
            lambda: person.page.keyboard.press("Space"),
        ):
            person.begin("One long", work="as found")
            other.sees("on")
            stop()
            person.sees("off")
            other.sees_state("Stopped")
            truth = site.hardware[-1].truth
            assert not truth.rf_on
            assert 0 < truth.rf_on_s < 25, "STOP ended it, not its own end"
        person.begin("One long", work="as found")
        other.sees("on")
        _slow(site, 2)  # a busy machine must not come after the end of the run
        person.page.get_by_text("Settings").click()
        person.page.get_by_role("button", name="Add a screen").click()
        expect(person.page.get_by_alt_text("The address as a picture")).to_be_visible()
        person.page.locator("#stop").click(trial=True)  # nothing lies over it
        person.page.get_by_role("button", name="Close").click()
        person.go("#/records")
        person.page.get_by_label("Search the records").press_sequentially("a b")
        other.page.wait_for_timeout(500)
        other.sees_state("of 1 points")  # a space in a field stops nothing
        person.page.get_by_role("heading", name="Records").click()
        person.page.keyboard.press("Space")
        other.sees_state("Stopped")
        assert not site.hardware[-1].truth.rf_on


def test_a_server_that_is_gone_is_never_shown_as_present(
    browser: Browser, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(page_settings(place, 2.0, place / "short.toml"), monkeypatch) as site:
        person = Person.admitted(browser, site)
        person.go("#/bench/1")
        person.begin(TITLE)
        person.sees("on")
    person.sees("unknown")
    expect(person.page.locator("#line")).to_contain_text("No word from the server")
    expect(person.page.locator(".one-bench .reading")).to_contain_text("–")
    expect(person.page.locator(".command")).to_contain_text("which screen commands is not known")
    stop = person.page.locator("#stop")
    expect(stop).to_contain_text("reaches nothing now")
    expect(stop).not_to_contain_text("switches RF off")
    person.page.keyboard.press("Space")
    alert = person.page.get_by_role("alert").filter(has_text="STOP WAS NOT HEARD")
    expect(alert).to_contain_text("Switch RF off at the unit itself: at its mains switch")
    assert not site.hardware[0].truth.rf_on


def test_every_view_is_accessible_and_fits_its_screen(
    browser: Browser, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(page_settings(place, 20.0, place / "short.toml"), monkeypatch) as site:
        person = Person.admitted(browser, site, reduced_motion="reduce")
        run_id = _a_finished_run(person)
        person.go("#/practice")
        person.begin("Practice", unattended=False)
        expect(person.page.locator(".request-text")).to_be_visible()
        person.page.keyboard.press("x")
        expect(person.page.locator("#line")).to_have_text("‘x’ is none of the answers.")
        person.go("#/bench/2")
        expect(person.page.locator("h1")).to_have_text("Workshop bench 2")
        assert person.page.locator("#line").inner_text() == ""
        person.begin("Inspection", unattended=False)
        views = {
            "benches": "#/",
            "bench": "#/bench/2",
            "start": "#/bench/1",
            "procedure": "#/bench/2/procedure/2",
            "worklist": "#/worklist",
            "unit": "#/unit/HF-017/simulated",
            "records": "#/records",
            "record": f"#/records/{run_id}",
            "practice": "#/practice",
        }
        for name, where in views.items():
            person.go(where)
            expect(person.page.locator("h1")).not_to_have_text("")
            for theme in ("light", "dark"):
                _fits(person, name, theme)
                only = [] if theme == "light" else ["color-contrast"]
                assert axe_findings(person.page, only) == [], (name, theme)
        person.go("#/unit/HF-017/real")
        told = person.page.locator("p.card", has_text="Nothing can be foretold")
        expect(told).to_contain_text("Simulated runs do not count here")
        assert person.complaints == []


def _slow(site: Site, times: float) -> None:
    """Let what is left of the run pass so many times as slowly."""
    clock = site.hardware[-1].clock
    assert isinstance(clock, PacedClock)
    clock.speed /= times


def _hurry(site: Site) -> None:
    """Let what is left of the run pass 40 times as quickly."""
    clock = site.hardware[0].clock
    assert isinstance(clock, PacedClock)
    clock.speed *= 40


def _a_finished_run(person: Person) -> str:
    person.go("#/bench/1")
    person.begin(TITLE, work="as found")
    person.sees_state("Ended: fail")
    person.go("#/records")
    return person.page.locator("td:first-child a").inner_text()


def _fits(person: Person, name: str, theme: str) -> None:
    """The view is as wide as each screen; a picture of it is kept where one was asked for."""
    pictures = os.environ.get("OHMWRIGHT_PAGE_PICTURES")
    person.page.emulate_media(color_scheme="dark" if theme == "dark" else "light")
    for width in WIDTHS:
        person.page.set_viewport_size({"width": width, "height": 900})
        wide = person.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{name} is {wide} px wide on a screen of {width} px"
        if pictures is not None:
            person.page.screenshot(path=Path(pictures, f"{name}-{theme}-{width}.png"))
