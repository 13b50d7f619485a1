"""A campaign on the page: what is done, what is left, and where a unit that is free is begun."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from ohmwright.api.campaign_changes import CampaignChanges
from ohmwright.api.campaign_work import CampaignDesk
from ohmwright.api.open_records import open_records
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.records.asset_register import AssetChange, AssetRegister
from ohmwright.records.campaigns import Campaigns, Worker
from tests.one_activation import one_activation

from .browsing import Person, axe_findings
from .conftest import page_settings, serving

NAME = "Frühjahr / رقابة"
BEGIN = {"procedure": 0, "work": "as found", "unattended": True, "asset": "HF-7"}


def planned(records: str) -> None:
    """Have four units in a campaign, two of which are not for everybody."""
    fields = {"maker": "Tessenhove", "model": "Quillon 300", "procedure": "own.toml"}
    serials = {"HF-7": "S000007", "Größe-1": "S000001", "HF-2": "S000002", "HF-3": "S000003"}
    with open_records(records) as store:
        units = [
            AssetChange("added", RegisteredAsset(tag=tag, serial=serial, **fields), 1)
            for tag, serial in serials.items()
        ]
        AssetRegister(store.database).apply(units, by="A. Fenn", why="")
        Campaigns(store.database).new(NAME, list(serials), "A. Fenn", "verify", simulated=True)
        Campaigns(store.database).new("empty", ["HF-3"], "A. Fenn", "verify", simulated=True)
        worker = Worker("A. Fenn", "")
        changes = CampaignChanges(CampaignDesk(store, NAME, worker))
        changes.skip("HF-2", "scrapped soon")
        changes.hand_over("HF-3", "B. Orrel")
        CampaignChanges(CampaignDesk(store, "empty", worker)).close("by mistake")


def test_a_campaign_shows_what_is_done_and_what_is_left(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "own.toml").write_text(one_activation("Short", "Quillon 300"))
    settings = page_settings(tmp_path, 1.0, tmp_path / "own.toml")
    planned(str(settings.records))
    with serving(settings, monkeypatch) as site:
        client = site.client()
        with client.screen() as screen:
            assert client.post("/benches/1/begin", BEGIN).status == 200
            screen.bench(1, lambda now: now["state"] == "ended")
        person = Person.admitted(browser, site)
        page = person.page
        person.go("#/worklist")
        expect(page.get_by_text("Campaigns of which nothing is left")).to_be_visible()
        page.get_by_role("link", name=f"{NAME} (simulated): 1 of 4 done").click()
        expect(page.locator("h1")).to_have_text(NAME)
        expect(page.locator("main")).to_contain_text("2 left (1 handed over); 1 skipped")
        expect(page.locator("main")).to_contain_text("measured as found, and nothing adjusted")
        for tag, told in (
            ("HF-7", "✓ pass"),
            ("HF-2", "skipped by A. Fenn"),
            ("HF-3", "handed over to B. Orrel"),
        ):
            row = page.locator(".listed tbody tr", has=page.get_by_role("link", name=tag))
            expect(row).to_contain_text(told)
            expect(row.locator(".to-bench")).to_have_count(0)
        assert axe_findings(page) == []
        for width in (390, 1280):
            page.set_viewport_size({"width": width, "height": 844})
            assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.locator("select").select_option("free")
        expect(page.locator(".listed tbody tr")).to_have_count(1)
        to_bench = page.locator(".to-bench")
        with client.screen() as screen:  # what happens at the benches is followed
            assert client.post("/benches/1/begin", BEGIN | {"asset": "HF-3"}).status == 200
            expect(to_bench).to_have_text("Workshop bench 1, in use")
            assert client.post("/benches/1/stop").status == 200
            screen.bench(1, lambda now: now["state"] == "ended")
            expect(to_bench).to_have_text("Workshop bench 1")
        to_bench.click()
        expect(page.locator("form.start [name=asset]")).to_have_value("Größe-1")
        work = page.locator("form.start [name=work]")
        expect(work).to_have_value("as found")  # nothing is adjusted in this campaign
        assert person.complaints == []
        words = "Warning: 3 runs are gone."
        page.route("**/lost", lambda route: route.fulfill(json=[words]))
        for where in ("#/records", "#/worklist"):  # and what is below them
            person.go(where)
            expect(page.locator(".error")).to_have_text(words)
        page.unroute("**/lost")
        person.go("#/records")
        page.locator("select").select_option("refused")
        expect(page.locator("main")).to_contain_text(re.compile("1 run|No run on record is like"))
        person.go("#/campaign/unheard")
        expect(page.locator(".error")).to_contain_text("There is no campaign 'unheard'.")
        page.get_by_role("link", name="← the worklist").click()
        expect(page.locator("h1")).to_have_text("Worklist")
        person.go("#/bench/99")
        expect(page.locator("h1")).to_have_text("There is no bench 99 here")
        expect(page.locator(".gauge")).to_have_count(0)  # it would show limits of nothing
        page.get_by_role("link", name="The benches that are").click()
        expect(page.locator("h1")).to_have_text("Benches")
