"""RF that a pedal switches on while the page asks something: seen, and told beside RF."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from ohmwright.api.bench_data import BenchData
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import Operator
from ohmwright.page.benches import BenchOfFile
from tests.one_activation import one_activation

from .browsing import Person, axe_findings
from .conftest import page_settings, serving

QUESTION = """\
[[step]]
kind = "inspection"
name = "cords"
question = "Are the cords free of damage?"
[[step]]
"""
ASKED = one_activation("Asked", "Quillon 300", "rest_s = 1").replace("[[step]]\n", QUESTION, 1)


@pytest.fixture
def person_at_the_page(monkeypatch: pytest.MonkeyPatch) -> None:
    """At a simulated bench, too, the person at the page is asked."""
    opened = BenchOfFile.opened

    @asynccontextmanager
    async def by_the_page(
        self: BenchOfFile, data: BenchData, person: Operator, *, unattended: bool
    ) -> AsyncIterator[Bench]:
        async with opened(self, data, person, unattended=unattended) as bench:
            object.__setattr__(bench, "operator", person)
            yield bench

    monkeypatch.setattr(BenchOfFile, "opened", by_the_page)


@pytest.mark.usefixtures("person_at_the_page")
def test_rf_by_a_pedal_is_told_beside_rf_and_not_called_the_programs_own(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The alarm stood below the fold, and the question said "keyed by the program"."""
    (tmp_path / "asked.toml").write_text(ASKED)
    settings = page_settings(tmp_path, 1.0, tmp_path / "asked.toml")
    with serving(settings, monkeypatch) as site:
        person = Person.admitted(browser, site, viewport={"width": 1024, "height": 768})
        page = person.page
        person.go("#/bench/1")
        person.begin("Asked", work="as found", unattended=False)
        expect(page.locator(".request-text")).to_contain_text("cords")
        site.hardware[-1]._rig.close_contact(20.0)
        said = page.locator(".rf-follows")
        expect(said).to_have_text("RF IS ON.")
        expect(said).to_have_attribute("data-look", "on")
        alarms, foot = page.locator(".alarms"), page.locator("#foot")
        expect(alarms).to_contain_text("RF was read as on though nobody had asked for it")
        person.sees("off")
        for size in ((1024, 768), (390, 844)):
            page.set_viewport_size({"width": size[0], "height": size[1]})
            for place in ("0", "document.body.scrollHeight"):
                page.evaluate(f"scrollTo(0, {place})")
                box, below = alarms.bounding_box(), foot.bounding_box()
                assert box is not None
                assert below is not None
                assert 0 <= box["y"] < box["y"] + box["height"] <= below["y"], (size, place)
        assert axe_findings(page) == []
        page.locator("#stop").click()
        person.sees_state("Stopped")
        assert person.complaints == []
