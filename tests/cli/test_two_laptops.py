"""A run that is half done on one computer goes on at another, and never at both unnoticed."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from ohmwright.api.campaign_changes import CampaignChanges
from ohmwright.api.campaign_work import CampaignDesk
from ohmwright.cli.open_records import open_records
from ohmwright.model.errors import UsageError
from ohmwright.records.asset_register import AssetRegister
from ohmwright.records.campaigns import CampaignEntry, Campaigns, Worker
from tests.records.some_events import finished, point, stage, started, whole_run


@pytest.fixture
def here(tmp_path: Path) -> Path:
    """A finished run, and one that ends after its first point."""
    with open_records(str(tmp_path / "here")) as store:
        store.append_all("done", whole_run("done"))
        store.append_all("half", whole_run("half")[:3])
    return tmp_path / "here"


def go_on(place: Path, *events: object) -> None:
    with open_records(str(place)) as store:
        store.claim("half")
        store.append_all("half", events)  # type: ignore[arg-type]


def test_it_goes_on_where_it_was_handed_over_and_comes_back(
    ohmwright: Callable, here: Path, tmp_path: Path
) -> None:
    there, file, back = tmp_path / "there", tmp_path / "half.jsonl", tmp_path / "back.jsonl"
    told = ohmwright("record", "hand-over", "half", file, "--records", here)
    assert (told.code, "does not go on here" in told.out) == (0, True)
    with pytest.raises(UsageError, match="handed over to another computer"):
        go_on(here, finished())
    assert ohmwright("record", "verify", "--records", here).code == 0
    twice = ohmwright("record", "hand-over", "half", tmp_path / "x", "--records", here)
    assert (twice.code, (tmp_path / "x").exists()) == (2, False)
    assert "on one computer alone" in ohmwright("record", "import", file, "--records", there).out
    go_on(there, point("500 ohm"), finished())
    assert ohmwright("record", "export", back, "--records", there).code == 0
    assert (
        "1 of those on record continued"
        in ohmwright("record", "import", back, "--records", here).out
    )
    assert ohmwright("record", "verify", "--records", here).code == 0
    verdicts = [
        row["verdict"] for row in ohmwright("record", "list", "--records", here, "--json").json
    ]
    assert verdicts == ["pass", "pass"]


def test_of_a_file_that_was_cut_nothing_at_all_is_imported(
    ohmwright: Callable, here: Path, tmp_path: Path
) -> None:
    file = tmp_path / "cut.jsonl"
    assert ohmwright("record", "export", file, "--records", here).code == 0
    file.write_bytes(file.read_bytes()[:-20])
    cut = ohmwright("record", "import", file, "--records", tmp_path / "there")
    assert (cut.code, "nothing at all was imported" in " ".join(cut.err.split())) == (6, True)
    assert ohmwright("record", "list", "--records", tmp_path / "there", "--json").json == []


def test_where_both_went_on_one_is_refused_and_all_else_comes_in(
    ohmwright: Callable, here: Path, tmp_path: Path
) -> None:
    there, file, back = tmp_path / "there", tmp_path / "half.jsonl", tmp_path / "back.jsonl"
    assert ohmwright("record", "hand-over", "half", file, "--records", here).code == 0
    assert ohmwright("record", "import", file, "--records", there).code == 0
    told = ohmwright("record", "take-back", "half", "--records", here)
    assert (told.code, "one of both copies will be refused" in told.out) == (0, True)
    go_on(here, stage(9.0))
    go_on(there, finished())
    with open_records(str(there)) as store:
        store.append_all("more", whole_run("more"))
    assert ohmwright("record", "export", back, "--records", there).code == 0
    merged = ohmwright("record", "import", back, "--records", here)
    assert merged.code == 2
    assert "event 4 is another one, of 4 here and 4 in the file" in merged.err
    assert "1 run imported" in merged.out
    assert "1 were refused" in merged.out
    assert ohmwright("record", "verify", "--records", here).code == 0
    go_on(here, finished())  # what is here was not touched


def test_what_is_finished_or_not_handed_over_stays(
    ohmwright: Callable, here: Path, tmp_path: Path
) -> None:
    for command in (("hand-over", "done", tmp_path / "x"), ("take-back", "half")):
        assert ohmwright("record", *command, "--records", here).code == 2
    assert not (tmp_path / "x").exists()
    taken = tmp_path / "taken.jsonl"
    taken.write_text("mine")
    assert ohmwright("record", "hand-over", "half", taken, "--records", here).code == 2
    go_on(here, finished())  # it stays here where the file could not be written


TAGS = ("HF-1", "HF-2", "HF-3", "HF-4")


def work_through(place: Path, by: str) -> list[str]:
    """Run every unit that this worker gets; return their tags."""
    got = []
    with open_records(str(place)) as store:
        desk = CampaignDesk(store, "may", Worker(by, f"bench of {by}"))
        while (unit := desk.take_next()) is not None:
            got.append(unit.asset.tag)
            run_id = f"{by}-{unit.asset.tag}"
            desk.begin(unit.asset.tag, run_id)
            store.append_all(run_id, (started(run_id, unit.asset.tag, seed=1), finished()))
            desk.settle(unit.asset.tag)
    return got


def log_and_sites(place: Path) -> tuple[set[tuple[str, ...]], dict[str, tuple[str, str]]]:
    def facts(entry: CampaignEntry) -> tuple[str, ...]:
        return entry.tag, entry.at, entry.by, entry.what, entry.words, entry.run_id

    with open_records(str(place)) as store:
        log = [facts(entry) for entry in Campaigns(store.database).entries("may")]
        assert [entry[1] for entry in log] == sorted(entry[1] for entry in log)
        assert len(set(log)) == len(log)
        units = [one.asset for one in AssetRegister(store.database).all()]
    return set(log), {unit.tag: (unit.site, unit.owner) for unit in units}


def test_a_campaign_half_done_on_each_loses_nothing_and_does_nothing_twice(
    ohmwright: Callable, tmp_path: Path
) -> None:
    shop, laptop, file = tmp_path / "shop", tmp_path / "laptop", tmp_path / "moved.jsonl"

    def change(place: Path, tag: str, *fields: str) -> None:
        assert ohmwright("asset", "change", tag, *fields, "--records", place).code == 0

    def moved(source: Path, target: Path) -> object:
        file.unlink(missing_ok=True)
        assert ohmwright("record", "export", file, "--records", source).code == 0
        return ohmwright("record", "import", file, "--records", target)

    for tag in TAGS:
        unit = ("--maker", "T", "--model", "Q", "--serial", tag, "--records", shop)
        assert ohmwright("asset", "add", tag, *unit).code == 0
    new = ("may", "--simulated", "--work", "verify", "--records", shop)
    assert ohmwright("campaign", "new", *new).code == 0
    for tag, who in zip(TAGS, ("Fenn", "Fenn", "Oake", "Oake"), strict=True):
        ohmwright("campaign", "hand-over", "may", tag, "--to", who, "--records", shop)
    moved(shop, laptop)
    assert work_through(laptop, "Oake") == ["HF-3", "HF-4"]
    assert work_through(shop, "Fenn") == ["HF-1", "HF-2"]
    change(laptop, "HF-3", "--site", "Ward 3")
    change(shop, "HF-3", "--owner", "Trust")
    change(shop, "HF-4", "--site", "Ward 4")
    change(laptop, "HF-4", "--site", "Ward 5")
    until = ("--until", "2999-01-31", "--why", "in use", "--operator", "Oake")
    assert ohmwright("campaign", "defer", "may", "HF-1", *until, "--records", laptop).code == 0
    before, _ = log_and_sites(laptop)

    with open_records(str(laptop)) as store:
        planned = list(CampaignDesk(store, "may", Worker("Oake", "")).states())
    assert planned == list(TAGS)  # in the order in which they were planned

    merged = moved(laptop, shop)
    assert merged.code == 0, merged.err
    said = " ".join(merged.out.split())
    assert "Campaign may, HF-1: done by Fenn on 20" in said
    assert "here, deferred by Oake on 20" in said
    assert "(2999-01-31 in use) there. It counts as: pass." in said
    assert said.count("Campaign may, ") == 1
    assert "HF-4: site was set to 'Ward 4' here and to 'Ward 5' there; 'Ward 5'" in merged.out
    log, units = log_and_sites(shop)
    assert before < log
    assert units["HF-3"] == ("Ward 3", "Trust")
    assert units["HF-4"] == ("Ward 5", "")
    shown = ohmwright("asset", "show", "HF-3", "--records", shop).out
    assert "site '' to 'Ward 3'" in shown
    assert "'Trust' to ''" not in shown  # the laptop never took the owner away
    with open_records(str(shop)) as store:
        states = CampaignDesk(store, "may", Worker("Fenn", "")).states()
        assert {tag: one.run_id for tag, one in states.items()} == {
            "HF-1": "Fenn-HF-1", "HF-2": "Fenn-HF-2", "HF-3": "Oake-HF-3", "HF-4": "Oake-HF-4",
        }  # fmt: skip
        assert {one.phase for one in states.values()} == {"done"}
    assert work_through(shop, "Oake") == work_through(shop, "Fenn") == []
    again = moved(laptop, shop)
    assert (again.code, "notes of campaigns" in again.out, log_and_sites(shop)) == (
        0, False, (log, units),
    )  # fmt: skip
    assert moved(shop, laptop).code == 0
    assert log_and_sites(laptop) == (log, units)
    assert work_through(laptop, "Oake") == []

    file.write_bytes(file.read_bytes().replace(b"Ward 5", b"Ward 6"))
    damaged = ohmwright("record", "import", file, "--records", tmp_path / "third")
    assert damaged.code != 0
    assert "the register above was changed" in damaged.err


def test_a_run_from_before_makes_no_unit_done_in_any_store_and_a_later_one_names_who_did_it(
    ohmwright: Callable, tmp_path: Path
) -> None:
    here, there, file = tmp_path / "here", tmp_path / "there", tmp_path / "moved.jsonl"

    def keep(place: Path, begun: datetime) -> None:
        run_id = f"{begun:%Y%m%dT%H%M%SZ}-HF-1-0001"
        with open_records(str(place)) as store:
            store.append_all(run_id, (started(run_id, seed=1), finished()))

    def moved(source: Path, target: Path) -> None:
        file.unlink(missing_ok=True)
        assert ohmwright("record", "export", file, "--records", source).code == 0
        assert ohmwright("record", "import", file, "--records", target).code == 0

    def done(place: Path) -> tuple[int, str, float | None]:
        shown = ohmwright("campaign", "report", "may", "--records", place, "--json").json
        (unit,) = shown["units"]
        return shown["done"], unit["by"], unit["minutes"]

    unit = ("--maker", "T", "--model", "Q", "--serial", "7", "--records", here)
    assert ohmwright("asset", "add", "HF-1", *unit).code == 0
    keep(here, datetime.now(UTC) - timedelta(minutes=5))
    new = ("may", "--simulated", "--work", "verify", "--operator", "Fenn", "--records", here)
    assert ohmwright("campaign", "new", *new).code == 0
    moved(here, there)
    moved(there, here)
    assert [done(here), done(there)] == [(0, "Fenn", None)] * 2
    keep(there, datetime.now(UTC) + timedelta(minutes=5))
    assert done(there)[:2] == (1, "Áda")
    moved(there, here)
    assert done(here) == done(there)
    assert done(here)[2] is not None
    with open_records(str(here)) as store:  # who looked has noted nothing
        assert [one.what for one in Campaigns(store.database).entries("may")] == ["planned"]


def test_two_units_of_one_tag_and_two_campaigns_of_one_name_are_told_apart(
    ohmwright: Callable, tmp_path: Path
) -> None:
    here, there, file = tmp_path / "here", tmp_path / "there", tmp_path / "moved.jsonl"
    for place, serial in ((here, "S1"), (there, "S2")):
        unit = ("--maker", "T", "--model", "Q", "--serial", serial, "--records", place)
        assert ohmwright("asset", "add", "HF-1", *unit).code == 0
        assert ohmwright("campaign", "new", "may", "--records", place).code == 0
    assert ohmwright("record", "export", file, "--records", there).code == 0
    told = ohmwright("record", "import", file, "--records", here)
    assert told.code == 2
    assert "HF-1 is another unit there: serial S1 and S2" in " ".join(told.err.split())
    assert "Campaign may: another one of that name is here" in " ".join(told.err.split())
    shown = ohmwright("asset", "show", "HF-1", "--records", here, "--json").json
    assert [one["serial"] for one in shown] == ["S1"]


def test_a_laptop_gets_what_was_handed_over_and_no_more(
    ohmwright: Callable, tmp_path: Path
) -> None:
    shop, laptop, file = tmp_path / "shop", tmp_path / "laptop", tmp_path / "moved.jsonl"
    for tag in TAGS:
        unit = ("--maker", "T", "--model", "Q", "--serial", tag, "--records", shop)
        assert ohmwright("asset", "add", tag, *unit).code == 0
    new = ("may", "--simulated", "--work", "verify", "--records", shop)
    assert ohmwright("campaign", "new", *new).code == 0
    for tag in TAGS[:2]:
        ohmwright("campaign", "hand-over", "may", tag, "--to", "Oake", "--records", shop)
    assert ohmwright("record", "export", file, "--records", shop).code == 0
    assert ohmwright("record", "import", file, "--records", laptop).code == 0
    assert work_through(laptop, "Oake") == ["HF-1", "HF-2"]
    taken = ohmwright("next", "--campaign", "may", "--operator", "Oake", "--records", laptop).out
    assert "2 more are for the records in which the campaign was begun" in taken
    with open_records(str(laptop)) as store:
        desk = CampaignDesk(store, "may", Worker("Oake", "bench of Oake"))
        with pytest.raises(UsageError, match="for the records in which the campaign was begun"):
            desk.take("HF-3")
        CampaignChanges(desk).hand_over("HF-3", "Oake")
        CampaignChanges(desk).hand_over("HF-4", "Oake")
        desk.take("HF-3")
        desk.take("HF-4")  # puts HF-3 back, and not out of reach
        assert desk.states()["HF-3"].only_by == "Oake"
    assert work_through(shop, "Fenn") == ["HF-3", "HF-4"]


def test_each_field_of_an_asset_keeps_its_own_newest_change(
    ohmwright: Callable, tmp_path: Path
) -> None:
    """Both registers were filled from one CSV file, so they have no change in common."""
    shop, laptop, file = tmp_path / "shop", tmp_path / "laptop", tmp_path / "moved.jsonl"
    units = tmp_path / "units.csv"
    units.write_text("tag,maker,model,serial,site\nHF-1,T,Q,S1,Ward 1\n")
    for place in (shop, laptop):
        assert ohmwright("asset", "import", units, "--records", place).code == 0
    for place, field, value in (
        (shop, "--state", "in repair"),
        (shop, "--site", "Ward 2"),
        (laptop, "--site", "Ward 3"),
        (laptop, "--owner", "Trust"),
    ):
        assert ohmwright("asset", "change", "HF-1", field, value, "--records", place).code == 0
    assert ohmwright("record", "export", file, "--records", laptop).code == 0
    told = ohmwright("record", "import", file, "--records", shop)
    assert told.code == 0, told.err
    *_, unit = ohmwright("asset", "show", "HF-1", "--records", shop, "--json").json
    assert (unit["state"], unit["site"], unit["owner"]) == ("in repair", "Ward 3", "Trust")
    assert "'in repair' is newer and counts" in " ".join(told.out.split())


def test_one_serial_number_under_two_tags_is_told_at_every_merge_until_one_is_withdrawn(
    ohmwright: Callable, tmp_path: Path
) -> None:
    shop, laptop, file = tmp_path / "shop", tmp_path / "laptop", tmp_path / "laptop.jsonl"
    for place, tag, serial in ((shop, "HF-1", "S1"), (laptop, "X-1", "s1"), (laptop, "X-2", "S2")):
        unit = ("--maker", "T", "--model", "Q", "--serial", serial, "--records", place)
        assert ohmwright("asset", "add", tag, *unit).code == 0
    assert ohmwright("record", "export", file, "--records", laptop).code == 0

    def told() -> str:
        merged = ohmwright("record", "import", file, "--records", shop)
        assert merged.code == 0, merged.err
        return " ".join(merged.out.split())

    for said in (told(), told()):
        assert "Asset X-1: serial: 's1' is also that of HF-1, of the same model." in said
        assert said.count("is also that of") == 1
    gone = ("HF-1", "--why", "it is X-1", "--records", shop)
    assert ohmwright("asset", "withdraw", *gone).code == 0
    assert "is also that of" not in told()
