"""What the page says of RF where only the limit sent with ON has ended it."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from ohmwright.engine import release
from ohmwright.model.errors import OffNotProved, ReleaseNotConfirmed
from ohmwright.page.news import error_facts
from ohmwright.simulator.bench import SimulatedBench
from tests.one_activation import one_activation

from .browsing import Person
from .conftest import page_settings, serving

TITLE = "OFF that is not heard"
PROCEDURE = one_activation(TITLE, "Quillon 300", "rest_s = 1\nage_s = 3\nmax_on_s = 6")


def test_rf_is_unknown_only_where_it_was_not_read_as_off_since() -> None:
    known, unknown = (error_facts(kind("?")) for kind in (OffNotProved, ReleaseNotConfirmed))
    assert (known["is_urgent"], known["rf_unknown"]) == (True, False)
    assert (unknown["is_urgent"], unknown["rf_unknown"]) == (True, True)


@pytest.fixture
def deaf_to_off(monkeypatch: pytest.MonkeyPatch) -> None:
    hear = SimulatedBench.analyzer_port
    monkeypatch.setattr(
        SimulatedBench,
        "analyzer_port",
        lambda self, line: b"" if b"STATe OFF" in line else hear(self, line),
    )


@pytest.mark.usefixtures("deaf_to_off")
def test_rf_that_the_limit_ended_is_shown_as_read(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(release, "_TRIES", 400)  # until the limit
    procedure = tmp_path / "deaf.toml"
    procedure.write_text(PROCEDURE)
    with serving(page_settings(tmp_path, 1000.0, procedure), monkeypatch) as site:
        person = Person.admitted(browser, site)
        person.go("#/bench/1")
        person.begin(TITLE, work="as found", unattended=False)
        error = person.page.locator(".one-bench .error")
        expect(error).to_contain_text("OFF DOES NOT SWITCH OFF")
        expect(error).to_contain_text("It reads off now.")
        expect(error).to_have_attribute("data-urgent", "")
        sign = person.page.locator(".one-bench .rf")
        expect(sign).to_have_text(re.compile("RF OFF when the run ended; not read since"))
        person.sees("off")


@pytest.mark.usefixtures("deaf_to_off")
def test_rf_that_nothing_ended_is_seen_in_other_views_though_the_run_has_ended(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    procedure = tmp_path / "deaf.toml"
    procedure.write_text(PROCEDURE.replace("max_on_s = 6", "max_on_s = 60"))
    with serving(page_settings(tmp_path, 1000.0, procedure), monkeypatch) as site:
        person = Person.admitted(browser, site)
        person.go("#/bench/1")
        person.begin(TITLE, work="as found", unattended=False)
        expect(person.page.locator(".one-bench .error")).to_contain_text("RF MAY STILL BE ON")
        person.sees_state("Ended")
        person.go("#/records")
        expect(person.page.locator(".elsewhere [data-look=unknown]")).to_have_text(
            re.compile("^RF STATE UNKNOWNWorkshop bench 1")
        )
        person.page.set_viewport_size({"width": 390, "height": 844})
        box = person.page.locator(".elsewhere li").bounding_box()
        assert box is not None
        assert box["height"] < 100, "its words stood in a column one word wide"
