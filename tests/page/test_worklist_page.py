"""From the worklist to a run of one unit among many, and on from a run that was cut short."""

import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from ohmwright.api.bench_data import BenchChoice
from ohmwright.api.open_records import open_records
from ohmwright.api.records_view import Records
from ohmwright.engine.run_so_far import run_started_event
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.page.benches import BenchOfFile
from ohmwright.page.practice import PracticeUnit
from ohmwright.page.site import PageSettings
from ohmwright.records.asset_register import AssetChange, AssetRegister
from ohmwright.wire.paced_clock import PacedClock
from tests.one_activation import one_activation

from .browsing import LONG_ACTIVATION, SETTLED_MS, Person, axe_findings
from .conftest import LIMIT_S, Site, serving

BENCH = """\
name = "Bench of {model}"
[analyzer]
data = "gantry-400"
certificate = "gantry-400"
link = {{ kind = "simulated" }}
[generator]
data = "{data}"
{link}
[simulation]
seed = 3
age_months = 3
"""
BY_HAND = """\
name = "Bench worked by hand"
[analyzer]
data = "plover-200"
identity = "P2-00417"
by_hand = ["load", "path", "foot switch", "reading"]
[generator]
data = "marlow-150"
"""
OWN = "Check of one model"
TAG = "Unit: its tag, typed or scanned"
MAKERS = {"Quillon 300": "Tessenhove", "Marlow 150": "Sorrelworks", "Teasel 200": "Aldermoor"}


def unit(number: int, model: str = "Quillon 300", **fields: Any) -> RegisteredAsset:
    told: dict[str, Any] = {"procedure": "own.toml", "site": f"Theatre {number % 7}"} | fields
    serial = f"S{number:06d}"
    tag = f"HF-{number}"
    return RegisteredAsset(tag=tag, maker=MAKERS[model], model=model, serial=serial, **told)


UNITS = (
    *(unit(number) for number in range(100, 140)),
    unit(141, "Marlow 150", last_passed="2024-01-31"),
    unit(142, "Marlow 150", site="Endoscopy"),
    unit(143, "Teasel 200"),
    unit(144, state="in repair"),
    unit(1400),
)


@pytest.fixture
def workshop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Site]:
    """Benches for two models and one by hand, and 45 units."""
    texts = {
        "quillon.toml": BENCH.format(
            model="Quillon", data="quillon-300", link='link = { kind = "simulated" }'
        ),
        "marlow.toml": BENCH.format(model="Marlow", data="marlow-150", link=""),
        "hand.toml": BY_HAND,
        "own.toml": one_activation(OWN, "Quillon 300", "age_s = 25\nmax_on_s = 35"),
    }
    for name, text in texts.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    records = str(tmp_path / "records")
    with open_records(records) as store:
        changes = [AssetChange("added", one, 1) for one in UNITS]
        AssetRegister(store.database).apply(changes, by="A. Fenn", why="from the spreadsheet")
    benches = (f"{name}.toml" for name in ("quillon", "marlow", "hand"))
    settings = PageSettings(
        benches=tuple(BenchOfFile(BenchChoice(tmp_path / name), 20.0) for name in benches),
        practice=PracticeUnit(seed=5),
        procedures=(tmp_path / "own.toml",),
        records=records,
    )
    with serving(settings, monkeypatch) as site:
        yield site


def workshop_clock(site: Site) -> PacedClock:
    """The clock of the bench that was opened last, once one is."""
    end_s = time.monotonic() + LIMIT_S
    while not site.hardware:
        assert time.monotonic() < end_s
        time.sleep(0.01)
    clock = site.hardware[-1].clock
    assert isinstance(clock, PacedClock)
    return clock


def test_from_the_worklist_to_the_certificate_of_one_unit(
    workshop: Site, browser: Browser, tmp_path: Path
) -> None:
    person = Person.admitted(browser, workshop)
    page = person.page
    page.get_by_role("link", name="Worklist").click()
    rows = page.locator(".listed tbody tr")
    expect(rows).to_have_count(len(UNITS))
    page.get_by_label("Find a unit").fill("s000110 theatre")
    expect(rows).to_have_count(1)
    rows.get_by_role("link", name="Bench of Quillon").click()
    expect(page.get_by_label(TAG)).to_have_value("HF-110")
    line = page.locator(".unit-line")
    expect(line).to_have_text(
        f"HF-110: Tessenhove Quillon 300, Theatre 5. Its procedure in the register: {OWN}, "
        "revision 1."
    )  # no serial number: that is for the plate
    page.get_by_role("link", name="What would be done").click()
    expect(page.locator("h1")).to_have_text(OWN)
    page.get_by_text("← the bench").click()
    page.get_by_label("Your name").fill("Ada Fell")
    page.get_by_label("Work order").fill("WO-512")
    page.locator("select[name=work]").select_option("as found")
    page.get_by_role("button", name="Begin").click()
    person.sees_state("Ended: pass")
    page.get_by_role("link", name="Its record and certificate").click()
    expect(page.get_by_role("link", name="Certificate", exact=True)).to_be_visible()
    page.set_viewport_size({"width": 390, "height": 600})
    page.get_by_role("link", name="Benches").click()
    expect(page.locator("h1")).to_have_text("Benches")
    expect(page.get_by_role("link", name="Worklist")).to_be_in_viewport()  # the way to the views
    page.get_by_role("link", name="Worklist").click()
    expect(rows).to_have_count(1)  # what was searched for is kept
    person.go("#/bench/1")
    page.reload()
    expect(page.get_by_label(TAG)).to_have_value("")  # what comes next is another unit
    assert person.complaints == []
    started = run_started_event(Records(str(tmp_path / "records"))["last"].events)
    assert started is not None
    assert started.work_order == "WO-512"


def test_what_is_in_repair_or_has_no_bench_here_is_told_before_the_way_to_a_bench(
    workshop: Site, browser: Browser
) -> None:
    person = Person.admitted(browser, workshop)
    page = person.page
    person.go("#/worklist")
    rows = page.locator(".listed tbody tr")
    page.locator("select[name=only]").select_option("repair")
    expect(rows).to_have_count(1)
    expect(rows).to_contain_text("! in repair")
    expect(rows.get_by_role("link")).to_have_text("HF-144")  # its view, and no bench
    page.locator("select[name=only]").select_option("")
    page.get_by_label("Find a unit").fill("teasel")
    expect(rows).to_contain_text("no bench here")
    page.get_by_label("Find a unit").fill("HF-141")
    expect(rows).to_contain_text("passed, as told")
    expect(rows).to_contain_text(re.compile(r"~\d+ %"))  # reckoned from the due date alone
    page.get_by_label("Find a unit").fill("nothing")
    expect(page.get_by_role("status").filter(has_text="No unit")).to_be_visible()
    sham = page.get_by_text("SIMULATED: by runs on simulated benches")
    expect(sham).to_be_hidden()  # not all benches are simulated
    page.get_by_text("The order, the marks").click()
    page.get_by_label("By runs on simulated benches").check()
    expect(sham).to_be_visible()
    person.go("#/unit/HF-141/simulated")
    expect(sham).to_be_visible()
    person.go("#/bench/1")
    field, line = page.get_by_label(TAG), page.locator(".unit-line")
    field.fill("hf-144")
    expect(line).to_contain_text("! Asset HF-144 is in repair since")
    field.fill("HF-141")
    expect(line).to_contain_text(
        "HF-141 is a Marlow 150; Bench of Quillon is for Quillon 300. Nothing was switched on. "
        "Take it to Bench of Marlow or Bench worked by hand."
    )
    assert person.complaints == []


PART_OF_THE_NEWS = """async () => {
  const { take } = await import('/static/store.js')
  const { worklistView } = await import('/static/view_worklist.js')
  const view = worklistView(), tick = view.element.querySelector('[type=checkbox]')
  const news = (bench, simulated) => {
    const now = { simulated, models: [], picture: {} }
    take('bench', { bench, run: 0, at_s: 0, now, readings: [] })
    view.update()
    return tick.checked
  }
  take('hello', { screen: 1, benches: 2, at_s: 0 })
  return [news(1, true), news(2, false)]
}"""


def test_a_list_waits_for_the_news_of_every_bench(workshop: Site, browser: Browser) -> None:
    """Benches are told one by one; the first alone may be simulated."""
    person = Person.admitted(browser, workshop)
    person.go("#/records")
    assert person.page.evaluate(PART_OF_THE_NEWS) == [False, False]


def test_a_run_cut_short_goes_on_as_it_was_begun(
    workshop: Site, browser: Browser, tmp_path: Path
) -> None:
    (tmp_path / "own.toml").write_text(LONG_ACTIVATION, encoding="utf-8")
    person, client = Person.admitted(browser, workshop), workshop.client()
    page = person.page
    person.go("#/bench/1/of/HF-111")
    expect(page.get_by_label(TAG)).to_have_value("HF-111")
    page.locator("select[name=work]").select_option("as found")
    page.get_by_role("button", name="Begin").click()
    clock = workshop_clock(workshop)
    clock.speed /= 20  # a busy machine must not come after the end of the run
    person.sees("on")
    assert client.get("/benches/1/procedures").json["unfinished"] == []  # it goes on now
    person.go("#/records")
    page.locator("td:first-child a").click()
    expect(page.get_by_text("It goes on now at Bench of Quillon")).to_be_visible()
    expect(page.locator(".error")).to_have_count(0)  # its record does not end: it goes on
    page.locator("#stop").click()
    expect(page.locator(".after-stop")).to_contain_text("Bench of Quillon: RF read as off")
    assert client.get("/benches/2/procedures").json["unfinished"] == []  # begun at the other
    person.go("#/records")
    page.locator("td:first-child a").click()
    page.get_by_role("link", name="Go on with it at Bench of Quillon").click()
    chosen = page.locator("select[name=resume] option:checked")
    expect(chosen).to_have_text(re.compile(r"^HF-111, begun 20\d\d-.* UTC by "))
    page.locator("select[name=resume]").select_option("")
    page.get_by_role("button", name="Go on with it").click()
    expect(chosen).to_have_text(re.compile("^HF-111"))
    for field, value in (("asset", ""), ("work", "as found"), ("procedure", "run")):
        expect(page.locator(f"form.start [name={field}]")).to_be_disabled()
        expect(page.locator(f"form.start [name={field}]")).to_have_value(value)
    page.get_by_role("button", name="Begin").click()
    person.sees_state("Ended: fail")  # its tolerance is narrow
    assert person.complaints == []


def test_who_is_asked_for_the_plate_does_not_see_its_number(
    workshop: Site, browser: Browser, tmp_path: Path
) -> None:
    person = Person.admitted(browser, workshop)
    page = person.page
    text = one_activation(OWN, "Marlow 150", "rest_s = 1\nmax_on_s = 30")
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    person.go("#/bench/3/of/HF-142")
    expect(page.locator(".unit-line")).to_contain_text("HF-142: Sorrelworks Marlow 150, Endoscopy")
    page.get_by_role("button", name="Begin").click()
    request, unit_shown = page.locator(".request-text"), page.locator(".bench-head p.soft")
    for asked, said in (("are to be off now", "0"), ("Read the plate", "S000142")):
        expect(request).to_contain_text(asked)
        expect(unit_shown).to_have_text("Sorrelworks Marlow 150, HF-142")
        page.wait_for_timeout(SETTLED_MS)
        page.keyboard.type(f"{said}\n")
    expect(request).to_contain_text("Join")
    expect(unit_shown).to_have_text("Sorrelworks Marlow 150, serial S000142, HF-142")


def test_a_refused_run_is_over_and_a_long_name_hides_no_verdict(
    workshop: Site, browser: Browser, tmp_path: Path
) -> None:
    person = Person.admitted(browser, workshop)
    page = person.page
    text = one_activation(OWN, "Marlow 150", "rest_s = 1\nmax_on_s = 30")
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    person.go("#/bench/3/of/HF-142")
    page.locator("[name=operator]").fill("N" * 100)
    page.get_by_role("button", name="Begin").click()
    request, state = page.locator(".request-text"), page.locator(".one-bench .state")
    expect(request).to_be_visible()
    while not state.inner_text().startswith("Ended"):  # how often the meter is asked for is open
        page.wait_for_timeout(SETTLED_MS)
        if request.is_visible():
            page.locator(".typed input").fill("9999" if "plate" in request.inner_text() else "0")
            page.keyboard.press("Enter")
    person.sees_state("Ended early: .*'9999' on its plate")
    expect(page.get_by_role("link", name="Its record", exact=True)).to_be_visible()
    expect(page.locator("form.start")).to_be_visible()
    expect(page.get_by_role("button", name="Go on with it")).to_have_count(0)
    expect(page.get_by_text("By that it is another unit")).to_have_count(1)
    person.go("#/records")
    expect(page.locator("td[data-name=Verdict]")).to_contain_text("refused")
    box = page.locator("td[data-name=Verdict]").bounding_box()
    assert box is not None
    assert box["x"] + box["width"] <= 1280


def test_a_unit_has_its_own_view(workshop: Site, browser: Browser) -> None:
    person, client = Person.admitted(browser, workshop), workshop.client()
    with client.screen() as screen:
        client.post("/benches/1/begin", {"procedure": None, "asset": "HF-1400"})
        screen.bench(1, lambda now: now["state"] == "ended")
    page = person.page
    person.go("#/unit/HF-140/simulated")
    expect(page.locator("main")).to_contain_text("No unit with this tag is in the register")
    expect(page.locator("main")).to_contain_text("No run of it is on record")  # those of HF-1400
    expect(page.locator("code")).to_contain_text("ohmwright asset add HF-140 --maker")
    person.go("#/unit/HF-1400/simulated")
    facts = page.locator("dl.settings")
    expect(facts).to_contain_text("Tessenhove Quillon 300, serial S001400")
    expect(facts).to_contain_text("12 months")
    expect(facts.get_by_role("link", name="Bench of Quillon")).to_be_visible()
    expect(page.get_by_role("region", name="Its runs on record").locator("tbody tr")).to_have_count(
        1
    )
    page.get_by_text("What was changed in the register").click()
    expect(page.get_by_text("added by A. Fenn: from the spreadsheet")).to_be_visible()
    page.get_by_text("To change it in the register").click()
    expect(page.locator("code", has_text="--state 'in repair'")).to_be_visible()
    person.go("#/unit/HF-144/simulated")
    expect(page.locator("dl.settings")).to_contain_text("! in repair")
    assert person.complaints == []


def test_filled_views_are_accessible_and_fit_their_screen(
    workshop: Site, browser: Browser, tmp_path: Path
) -> None:
    (tmp_path / "own.toml").write_text(LONG_ACTIVATION, encoding="utf-8")
    person, watcher = (Person.admitted(browser, workshop) for _ in range(2))
    person.go("#/bench/1/of/HF-112")
    expect(person.page.locator(".unit-line")).to_contain_text("HF-112: ")
    person.page.locator("select[name=work]").select_option("as found")
    person.page.get_by_role("button", name="Begin").click()
    workshop_clock(workshop).speed /= 100  # RF stays on while its line is looked at
    person.sees("on")
    views = {
        "#/worklist": ".listed tbody tr",
        "#/unit/HF-144/simulated": "dl.settings",
        "#/bench/2/of/HF-144": ".unit-line[data-refused]",
    }
    for where, seen in views.items():
        watcher.go(where)
        expect(watcher.page.locator(seen).first).to_be_visible()
        expect(watcher.page.locator(".elsewhere [data-look=on]")).to_be_visible()
        for scheme, rules in (("light", []), ("dark", ["color-contrast"])):
            watcher.page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            for width in (360, 1024):
                watcher.page.set_viewport_size({"width": width, "height": 844})
                wide = watcher.page.evaluate("document.documentElement.scrollWidth")
                assert wide <= width, (where, width)
            assert axe_findings(watcher.page, rules) == [], (where, scheme)
    watcher.page.locator("#stop").click()
    person.sees("off")
