"""A run of a unit that the page is told by its tag, from the register of assets."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, expect

from ohmwright.api.bench_data import BenchChoice
from ohmwright.api.open_records import open_records
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.page.benches import BenchOfFile
from ohmwright.page.practice import PracticeUnit
from ohmwright.page.site import PageSettings
from ohmwright.records.asset_register import AssetChange, AssetRegister
from ohmwright.reports.certificate import certificate_of
from ohmwright.reports.label import qr_text
from ohmwright.wire.clock import RealClock
from tests.one_activation import one_activation
from tests.reports.conftest import a_run

from .browsing import Person
from .conftest import Client, Screen, Site, serving

BENCH = """\
name = "Bench of many units"
[analyzer]
data = "gantry-400"
certificate = "gantry-400"
link = {{ kind = "simulated" }}
[generator]
data = "quillon-300"
link = {{ kind = "simulated" }}
[[generators]]
data = "marlow-150"
{asset}
[simulation]
seed = 3
age_months = 3
"""
ASSET = """\
[asset]
id = "HF-900"
maker = "Tessenhove"
model = "Quillon 300"
serial = "TQ3-20417"
"""
OWN = "Check of one model"


def unit(tag: str, serial: str, state: Any = "in service") -> RegisteredAsset:
    return RegisteredAsset(
        tag=tag,
        maker="Tessenhove",
        model="Quillon 300",
        serial=serial,
        procedure="own.toml",
        state=state,
    )


UNITS = (
    unit("HF-001", "S000011"),
    unit("HF-003", "S000013", "in repair"),
    unit("HF-004", "S000014", "withdrawn"),
    unit("HF-005", "LX-9"),
)


@pytest.fixture(params=["", ASSET], ids=["no unit of its own", "a unit of its own"])
def workshop(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> Iterator[Site]:
    (tmp_path / "bench.toml").write_text(BENCH.format(asset=request.param), encoding="utf-8")
    own = one_activation(OWN, "Quillon 300", "age_s = 25\nmax_on_s = 35")
    (tmp_path / "own.toml").write_text(own, encoding="utf-8")
    records = str(tmp_path / "records")
    with open_records(records) as store:
        changes = [AssetChange("added", one, 1) for one in UNITS]
        AssetRegister(store.database).apply(changes, by="A. Fenn")
    settings = PageSettings(
        benches=(BenchOfFile(BenchChoice(tmp_path / "bench.toml"), 20.0),),
        practice=PracticeUnit(seed=5),
        procedures=(tmp_path / "own.toml",),
        records=records,
    )
    with serving(settings, monkeypatch) as site:
        yield site


def ended(screen: Screen, tag: str) -> dict[str, Any]:
    """The bench once the run on a unit has ended."""
    news = screen.bench(1, lambda now: now["state"] == "ended" and now["asset"] == tag)
    return dict(news["now"])


def begin(client: Client, **order: Any) -> Any:
    return client.post("/benches/1/begin", {"procedure": None, "work": "as found", **order})


def test_a_tag_chooses_unit_and_procedure(workshop: Site) -> None:
    client = workshop.client()
    with client.screen() as screen:
        assert begin(client, asset="hf-001").status == 200
        now = ended(screen, "HF-001")
        assert now["unit"] == "Tessenhove Quillon 300, serial S000011"
        assert now["error"] is None
        run = client.get(f"/records/{now['run_id']}").json
    assert run["asset"] == "HF-001"
    assert run["procedure"] == f"{OWN}, revision 1"
    assert run["seed"] == 11  # the unit itself, and not that of the bench file


def test_another_unit_than_that_of_the_tag_is_refused(workshop: Site) -> None:
    client = workshop.client()
    with client.screen() as screen:
        assert begin(client, asset="HF-005").status == 200
        now = ended(screen, "HF-005")
    assert "HF-005 has the serial number 'LX-9'" in now["error"]["happened"]
    assert now["unit"] == "Tessenhove Quillon 300"  # nobody has read LX-9 from the plate


def test_a_refused_run_is_told_once_is_not_to_go_on_and_its_record_says_why(
    workshop: Site, browser: Browser
) -> None:
    person = Person.admitted(browser, workshop)
    page = person.page
    person.go("#/bench/1")
    page.get_by_label("Unit: its tag").fill("HF-005")
    person.begin(OWN, work="as found")
    why = "HF-005 has the serial number 'LX-9'"
    expect(page.locator(".error")).to_contain_text(why)
    person.sees_state("^Ended early: ")
    expect(page.locator(".after-run")).to_have_text("Its record")
    expect(page.locator(".notices")).not_to_contain_text("LX-9")
    page.get_by_role("link", name="Its record").click()
    expect(page.locator("main .error")).to_contain_text(why)


@pytest.mark.parametrize(
    ("tag", "happened"),
    [
        ("HF-003", "is in repair since"),
        ("HF-004", "was withdrawn on"),
        ("HF-6", "There is no asset 'HF-6'"),
    ],
)
def test_a_unit_that_is_not_worked_on_is_refused(workshop: Site, tag: str, happened: str) -> None:
    client = workshop.client()
    with client.screen():
        refused = begin(client, asset=tag)
    assert refused.status == 409
    assert happened in refused.json["happened"]
    assert workshop.hardware == []


def test_a_run_cut_short_is_offered_and_goes_on_with_its_unit(workshop: Site) -> None:
    client = workshop.client()
    with client.screen() as screen:
        begin(client, asset="HF-001")
        screen.bench(1, lambda now: now["picture"]["rf"]["words"].startswith("RF ON"))
        client.post("/benches/1/stop")
        run_id = ended(screen, "HF-001")["run_id"]
        (offered,) = client.get("/benches/1/procedures").json["unfinished"]
        assert offered | {"begun": ""} == {
            "run_id": run_id,
            "asset": "HF-001",
            "model": "Quillon 300",
            "procedure": OWN,
            "operator": offered["operator"],
            "begun": "",
            "work": "as found",
        }
        assert offered["begun"][:10] == f"{RealClock().wall():%Y-%m-%d}"  # not the simulator's
        assert begin(client, resume=run_id).status == 200
        screen.bench(1, lambda now: now["state"] == "going on")
        assert ended(screen, "HF-001")["run_id"] == run_id
    assert client.get(f"/records/{run_id}").json["finished"]


@pytest.mark.parametrize("workshop", [ASSET], indirect=True, ids=["a unit of its own"])
def test_a_scanned_label_fills_in_the_tag_and_begins_nothing(
    workshop: Site, browser: Browser
) -> None:
    person = Person.admitted(browser, workshop)
    person.go("#/bench/1")
    field = person.page.get_by_label("Unit: its tag, typed or scanned")
    field.click()
    paper = certificate_of(a_run(id="HF-001"))
    for line in qr_text(paper).splitlines():
        person.page.keyboard.type(line)
        person.page.keyboard.press("Enter")
        person.page.wait_for_timeout(600)  # as on a machine that is busy
    expect(field).to_have_value("HF-001")
    person.page.keyboard.type("HF-1x")  # what is scanned next, however soon
    person.page.keyboard.press("Enter")
    expect(field).to_have_value("HF-1x")
    for line in ("ohmwright", "pass", f"run {paper.run_id}"):  # an older label
        person.page.keyboard.type(line)
        person.page.keyboard.press("Enter")
    expect(field).to_have_value(f"run {paper.run_id}")
    person.page.wait_for_timeout(5100)  # it has no last line, and nothing more comes of it
    person.page.keyboard.type("HF-2x")
    person.page.keyboard.press("Enter")
    expect(field).to_have_value("HF-2x")
    person.page.keyboard.type("HF-001")
    person.sees_state("No run is going on")
    person.page.get_by_role("button", name="Begin").dblclick()
    person.sees_state("Ended: pass")
    assert person.complaints == []  # the second press of Begin was not refused: it was not sent
    expect(field).to_have_value("")  # the next run is of the next unit


def test_a_bench_without_a_unit_asks_for_the_tag(workshop: Site, browser: Browser) -> None:
    person = Person.admitted(browser, workshop)
    person.go("#/bench/1")
    field = person.page.get_by_label("Unit: its tag, typed or scanned")
    expect(person.page.locator(".bench-head p.soft")).to_contain_text("SIMULATED")
    if "HF-900" in person.page.locator(".bench-head p.soft").inner_text():
        expect(field).to_have_attribute("placeholder", "empty: HF-900")
        expect(field).not_to_have_attribute("required", "")
    else:
        expect(field).to_have_attribute("required", "")


def test_a_unit_that_is_worked_at_another_bench_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("first", "second"):
        text = BENCH.format(asset=ASSET).replace("Bench of many units", f"The {name} bench")
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    own = one_activation(OWN, "Quillon 300", "age_s = 25\nmax_on_s = 35")
    (tmp_path / "own.toml").write_text(own, encoding="utf-8")
    settings = PageSettings(
        benches=tuple(
            BenchOfFile(BenchChoice(tmp_path / f"{name}.toml"), 1.0) for name in ("first", "second")
        ),
        practice=PracticeUnit(seed=5),
        procedures=(tmp_path / "own.toml",),
        records=str(tmp_path / "records"),
    )
    order = {"procedure": 0, "work": "as found"}
    with serving(settings, monkeypatch) as site:
        client = site.client()
        with client.screen() as screen:
            assert client.post("/benches/1/begin", order).status == 200
            refused = client.post("/benches/2/begin", order)
            assert refused.status == 409
            assert refused.json["happened"] == "A run of HF-900 goes on at The first bench."
            assert client.post("/benches/1/stop").json == {"stopping": True}
            screen.bench(1, lambda now: now["state"] == "ended")
            assert client.post("/benches/2/begin", order).status == 200
