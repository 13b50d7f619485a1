"""RF at a bench is seen and heard in the views that show no bench."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from .browsing import LONG_ACTIVATION, Person
from .conftest import page_settings, serving

LISTEN = """() => {
  const start = OscillatorNode.prototype.start
  window.heard = []
  OscillatorNode.prototype.start = function (...when) {
    window.heard.push(this.frequency.value)
    return start.apply(this, when)
  }
}"""
HUM_HZ = 98
VIEWS = ("#/worklist", "#/unit/HF-017/simulated", "#/records", "#/", "#/bench/2")


def test_rf_is_seen_in_every_view(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "long.toml").write_text(LONG_ACTIVATION)
    with serving(page_settings(tmp_path, 1.0, tmp_path / "long.toml"), monkeypatch) as site:
        person, reader = Person.admitted(browser, site), Person.admitted(browser, site)
        page = reader.page
        strip = page.locator(".elsewhere")
        expect(strip).to_be_hidden()
        page.evaluate(LISTEN)
        page.get_by_text("Settings").click()
        page.get_by_role("button", name="Sound: off").click()
        person.go("#/bench/1")
        person.begin("One long", work="as found")
        person.sees("on")
        expect(person.page.locator(".elsewhere")).to_be_hidden()  # its own view shows it
        for where in VIEWS:
            reader.go(where)
            expect(strip.locator("[data-look=on]")).to_have_text(
                re.compile("^RF ONWorkshop bench 1, HF-017")
            )
            expect(page).to_have_title(re.compile("RF ON: Workshop bench 1"))
        reader.go("#/records")
        expect(page.locator("#say-rf")).to_have_text("RF ON: Workshop bench 1")
        assert HUM_HZ in page.evaluate("heard")
        strip.get_by_role("link", name="Workshop bench 1").click()
        reader.sees("on")
        expect(strip).to_be_hidden()
        reader.go("#/bench/2")  # which has no run: STOP is no idle button while RF is on
        expect(page.locator("#stop")).to_contain_text("switches RF off: Workshop bench 1, HF-017")
        page.locator("#stop").click()
        expect(strip).to_be_hidden()
        assert reader.complaints == person.complaints == []


def test_a_silent_server_leaves_no_old_rf_in_any_view(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "long.toml").write_text(LONG_ACTIVATION)
    with serving(page_settings(tmp_path, 1.0, tmp_path / "long.toml"), monkeypatch) as site:
        person, reader = Person.admitted(browser, site), Person.admitted(browser, site)
        reader.go("#/records")
        person.go("#/bench/1")
        person.begin("One long", work="as found")
        expect(reader.page.locator(".elsewhere [data-look=on]")).to_be_visible()
    line = reader.page.locator(".elsewhere li")
    expect(line).to_have_attribute("data-look", "unknown")
    expect(line).to_have_text(re.compile("^RF NOT KNOWN HEREWorkshop bench 1"))
    expect(person.page).to_have_title("Workshop bench 1 · RF NOT KNOWN HERE")
    reader.go("#/")
    card = reader.page.locator("li.bench", has_text="Workshop bench 1")
    expect(card.locator(".reading")).to_have_text("– mA")


def test_stop_at_a_bench_with_a_run_leaves_the_runs_at_others(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "long.toml").write_text(LONG_ACTIVATION)
    with serving(page_settings(tmp_path, 1.0, tmp_path / "long.toml"), monkeypatch) as site:
        person, other = Person.admitted(browser, site), Person.admitted(browser, site)
        other.go("#/bench/2")
        other.begin("Inspection", unattended=False)  # it waits for an answer
        other.sees_state("of .* points")
        person.go("#/bench/1")
        person.begin("One long", work="as found")
        person.sees("on")
        other.go("#/records")
        lines = other.page.locator(".elsewhere li")
        for look in ("on", "off"):  # of a run that has just begun RF is not read yet
            expect(other.page.locator(f".elsewhere [data-look={look}]")).to_be_visible()
        looks = lines.evaluate_all("all => all.map(line => line.dataset.look)")
        assert looks == ["on", "off"], "the loudest comes first"
        expect(person.page.locator("#stop")).to_contain_text("RF off: Workshop bench 1 ·")
        person.page.locator("#stop").click()
        person.sees_state("Stopped|Ended")
        expect(lines).to_have_count(1)
        expect(lines).to_contain_text("Workshop bench 2")
