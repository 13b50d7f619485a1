"""Among many units: those that are due and fit a bench here, those withdrawn, and all on paper."""

import io
import re
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest
from playwright.sync_api import Browser, expect

from ohmwright.api.open_records import open_records
from ohmwright.records.asset_register import AssetChange, AssetRegister

from .browsing import Person
from .conftest import Site, page_settings, serving
from .test_worklist_page import UNITS, unit

WITHDRAWN = unit(145, state="withdrawn")
FOREIGN = 1
"""Units in service of a model that no bench here has."""
IN_REPAIR = 1


@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    settings = page_settings(tmp_path, 1.0)
    with open_records(settings.records) as store:
        changes = [AssetChange("added", one, 1) for one in (*UNITS, WITHDRAWN)]
        AssetRegister(store.database).apply(changes, by="A. Fenn", why="from the spreadsheet")
    with serving(settings, monkeypatch) as site:
        yield site


def test_units_are_chosen_by_what_can_be_done_with_them_here(
    workshop: Site, browser: Browser
) -> None:
    person = Person.admitted(browser, workshop)
    page = person.page
    person.go("#/worklist")
    rows = page.locator(".listed tbody tr")
    expect(rows).to_have_count(len(UNITS))
    page.locator("select[name=only]").select_option("due, and a bench here can take")
    expect(rows).to_have_count(len(UNITS) - FOREIGN - IN_REPAIR)
    bench = page.get_by_role("link", name="Workshop bench 1: begin HF-110", exact=True)
    expect(bench).to_have_text("Workshop bench 1")
    page.get_by_label("Find a unit").fill("hf-145")
    page.get_by_role("link", name="What the register has of hf-145").click()
    expect(page.locator("h1")).to_have_text("HF-145")  # capitals do not matter
    expect(page.locator("dl.settings")).to_contain_text("! withdrawn")
    person.go("#/bench/1")
    page.get_by_label("Unit: its tag").fill("HF-110")
    person.begin("Monopolar output", work="as found")
    person.sees("on")
    person.go("#/worklist")
    page.get_by_label("Find a unit").fill("HF-111")
    expect(rows.get_by_role("link", name="Workshop bench 1, in use")).to_be_visible()
    page.locator("#stop").click()
    expect(rows.get_by_role("link", name=re.compile("^Workshop bench 1: begin"))).to_be_visible()
    assert person.complaints == []


def test_a_list_is_sorted_by_the_column_that_is_pressed(workshop: Site, browser: Browser) -> None:
    person = Person.admitted(browser, workshop)
    page = person.page
    person.go("#/worklist")
    first = page.locator(".listed tbody tr").first
    expect(first).to_contain_text("HF-142")  # as they are to be worked on
    unit = page.get_by_role("columnheader", name="Unit", exact=True)
    unit.get_by_role("button").click()
    expect(unit).to_have_attribute("aria-sort", "ascending")
    expect(first).to_contain_text("HF-100")
    expect(page.locator(".listed tbody tr").last).to_contain_text("HF-1400")  # and not HF-144
    first.get_by_role("link", name="HF-100", exact=True).click()
    page.get_by_text("← the worklist").click()
    expect(first).to_contain_text("HF-100")  # it stays sorted
    unit.get_by_role("button").press("Enter")
    expect(unit).to_have_attribute("aria-sort", "descending")
    expect(first).to_contain_text("HF-1400")
    page.set_viewport_size({"width": 390, "height": 844})
    page.get_by_role("button", name="Last", exact=True).click()
    expect(page.locator("[aria-sort]")).to_have_text("Last")
    expect(first).to_contain_text("HF-141")  # the others have no date
    page.get_by_role("button", name="Last", exact=True).click()
    expect(first).to_contain_text("HF-141")
    page.get_by_role("button", name="Last", exact=True).click()
    expect(page.locator("[aria-sort]")).to_have_count(0)
    expect(first).to_contain_text("HF-142")
    assert person.complaints == []


def test_a_printed_worklist_begins_on_its_first_page_and_cuts_no_unit(
    workshop: Site, browser: Browser
) -> None:
    """The first of seven pages was empty, and dates stood on the page after their unit."""
    person = Person.admitted(browser, workshop)
    page = person.page
    person.go("#/worklist")
    expect(page.locator(".listed tbody tr")).to_have_count(len(UNITS))
    paper = pypdf.PdfReader(io.BytesIO(page.pdf(format="A4")))
    sheets = [sheet.extract_text() for sheet in paper.pages]
    tags = [re.findall(r"HF-\d+", sheet) for sheet in sheets]
    assert len(tags[0]) > 10
    assert sorted(tag for some in tags for tag in some) == sorted(one.tag for one in UNITS)
    assert len(sheets) <= 3
    page.emulate_media(media="print")
    kept = page.locator(".listed tbody tr").first
    assert kept.evaluate("row => getComputedStyle(row).breakInside") == "avoid"
    kept.locator("td[data-name=Unit] a").evaluate("link => { link.textContent = 'X'.repeat(60) }")
    page.set_viewport_size({"width": 720, "height": 1000})  # about an A4 sheet
    assert page.locator(".listed").evaluate("list => list.scrollWidth") <= 720


def test_a_printed_worklist_shows_what_chose_among_its_units_and_no_empty_field(
    workshop: Site, browser: Browser
) -> None:
    person = Person.admitted(browser, workshop)
    page = person.page
    person.go("#/worklist")
    words, only = page.get_by_label("Find a unit"), page.locator("select[name=only]")
    page.emulate_media(media="print")
    expect(words).to_be_hidden()
    expect(only).to_be_hidden()
    page.emulate_media(media="screen")
    words.fill("HF-14")
    only.select_option("due")
    page.emulate_media(media="print")
    expect(words).to_be_visible()
    expect(only).to_be_visible()
