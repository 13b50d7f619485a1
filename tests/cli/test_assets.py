"""Units by the register: which procedure, record and papers; a campaign at the terminal."""

from __future__ import annotations

import csv
import os
import shlex
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from ohmwright.api import unit_on_bench
from ohmwright.api.assets import asset_of_scan
from ohmwright.api.bench_data import BenchData
from ohmwright.api.campaign_changes import CampaignChanges
from ohmwright.api.campaign_work import CampaignDesk
from ohmwright.api.jobs import claimed_events
from ohmwright.api.unit_on_bench import IN_REPAIR
from ohmwright.cli import campaign_work_command, run_command
from ohmwright.cli.open_records import open_existing_records
from ohmwright.cli.scanner import Scanner
from ohmwright.engine.job import Job
from ohmwright.model.errors import LinkLost, UsageError
from ohmwright.model.event import Commented, Fault, FileAttached, RunStarted
from ohmwright.records.asset_register import nearest_tags
from ohmwright.records.campaigns import Worker
from ohmwright.records.sql_store import SqlStore
from ohmwright.reports.certificate import certificate_of
from ohmwright.reports.label import qr_text
from tests.records.some_events import AT, stage, started

BENCH = """
name = "Bench 1"

[analyzer]
data = "gantry-400"
link = { kind = "simulated" }

[generator]
data = "marlow-150"

[[generators]]
data = "quillon-300"
link = { kind = "simulated" }

[simulation]
seed = 3
age_months = 1
"""
REGISTER = """tag,maker,model,serial,site,owner,procedure
HF-1,Tessenhove,Quillon 300,S000007,Theatre 1,Saint Orrin,quick.toml
HF-2,Tessenhove,Quillon 300,S000008,Theatre 2,Saint Orrin,quick.toml
"""


@pytest.fixture
def workshop(
    procedure: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ohmwright: Callable
) -> Path:
    """A folder with bench, procedure and a register of two units; the working folder."""
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    (tmp_path / "assets.csv").write_text(REGISTER, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("OHMWRIGHT_RECORDS", str(tmp_path / "records"))
    assert ohmwright("asset", "import", "assets.csv").code == 0
    return tmp_path


def test_a_dry_run_says_of_each_unit_what_would_change(workshop: Path, ohmwright: Callable) -> None:
    another = REGISTER.splitlines()[-1].replace("HF-2", "HF-3").replace("S000008", "S000009")
    text = REGISTER.replace("Theatre 2", "Ward 9") + another
    (workshop / "new.csv").write_text(text, encoding="utf-8")
    tried = ohmwright("asset", "import", "new.csv", "--dry-run")
    assert "Added: HF-3\nHF-2: site 'Theatre 2' to 'Ward 9'\n" in tried.out
    document = ohmwright("asset", "import", "new.csv", "--dry-run", "--json").json
    assert document["changes"] == {"HF-2": {"site": ["Theatre 2", "Ward 9"]}}
    assert len(ohmwright("asset", "list", "--json").json) == 2


@pytest.mark.parametrize("cell", ['"12,0"', "12.5", "a year"])
def test_an_interval_that_is_no_whole_number_is_told_how_to_be_written(
    workshop: Path, ohmwright: Callable, cell: str
) -> None:
    text = f"tag,maker,model,serial,interval_months\nHF-9,T,Q,S9,{cell}\n"
    (workshop / "new.csv").write_text(text, encoding="utf-8")
    refused = ohmwright("asset", "import", "new.csv")
    shown = cell.strip('"')
    said = f"new.csv:2:5: interval_months: '{shown}' must be a whole number, as 12"
    assert (refused.code, said in refused.err) == (2, True)


def test_a_tag_chooses_procedure_and_generator_and_fills_record_and_papers(
    workshop: Path, ohmwright: Callable
) -> None:
    (workshop / "photo.JPG").write_bytes(b"\xff\xd8photo")
    options = ("--operator", "A. Fenn", "--work-order", "WO-7", "--comment", "smells")
    outcome = ohmwright(
        *("verify", "--bench", "bench.toml", "--asset", "hf-1", *options),
        *("--attach", "photo.JPG", "--unattended"),
    )
    assert outcome.code == 0, outcome.err
    assert "Work order WO-7" in outcome.out
    assert "comment: smells" in outcome.out
    with open_existing_records(str(workshop / "records")) as store:
        (run,) = store.run_ids()
        events = store.events(run)
        lines = qr_text(certificate_of(events)).splitlines()
        assert lines[-1] == "asset HF-1"  # whoever scans it knows that it has ended
        for code in ("\n".join(lines), "\n".join(lines[:-1]), f"run {run}"):
            assert asset_of_scan(store, code).tag == "HF-1"
    started = next(event for event in events if isinstance(event, RunStarted))
    assert started.registered is not None
    assert (started.asset.serial, started.asset.department) == ("S000007", "Theatre 1")
    assert started.operator == "A. Fenn (unattended)"
    (attached,) = (event.attachment for event in events if isinstance(event, FileAttached))
    assert attached.media_type == "image/jpeg"
    assert ohmwright("record", "documents", "last", "files").code == 0
    assert (workshop / "files/attached-1-photo.JPG").read_bytes() == b"\xff\xd8photo"
    paper = certificate_of(events)
    assert (paper.owner, paper.work_orders) == ("Saint Orrin", ("WO-7",))
    ohmwright("asset", "change", "HF-1", "--site", "Ward 2")
    with open_existing_records(str(workshop / "records")) as store:
        assert store.events(run)[0].asset.department == "Theatre 1"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("quick.toml",), "Which unit stands at Bench 1?"),
        (("--asset", "HF-9"), "There is no asset 'HF-9'"),
        (("--asset", "HF-3"), ": burnt out."),
        (("--asset", "HF-4"), "is a Lisse 80, and this bench is for Marlow 150, Quillon 300"),
        (("--asset", "HF-5"), "Asset HF-5 has no procedure"),
        (("--asset", "HF-6"), "is in repair since"),
        (("--asset", "HF-1", "--attach", "none.png"), "none.png: cannot be read"),
    ],
)
def test_what_cannot_be_told_apart_is_refused_before_a_run_begins(
    workshop: Path, ohmwright: Callable, arguments: tuple[str, ...], said: str
) -> None:
    new = ("--maker", "x", "--serial", "S000009")
    ohmwright("asset", "add", "HF-3", *new, "--model", "Quillon 300", "--procedure", "quick.toml")
    ohmwright("asset", "withdraw", "HF-3", "--why", "burnt out")
    ohmwright("asset", "change", "HF-3", "--site", "Store", "--why", "not why it was withdrawn")
    ohmwright("asset", "add", "HF-4", *new, "--model", "Lisse 80")
    ohmwright("asset", "add", "HF-5", *new, "--model", "Quillon 300")
    repaired = ("--model", "Quillon 300", "--procedure", "quick.toml", "--state", "in repair")
    other = ("--maker", "x", "--serial", "S000010")
    ohmwright("asset", "add", "HF-6", *other, *repaired, "--why", "fan")
    outcome = ohmwright("verify", *arguments, "--bench", "bench.toml", "--unattended")
    assert outcome.code == 2
    assert said in outcome.err
    assert ohmwright("record", "list", "--json").json == []
    begun = ohmwright("campaign", "new", "may", "--tag", "HF-3")
    assert (begun.code, "Asset HF-3 is withdrawn." in begun.err) == (2, True)


@pytest.mark.parametrize(
    ("tag", "serial", "said"),
    [
        ("HF-1", "S000003", "serial S000003, here, and a Tessenhove Quillon 300, serial S000007,"),
        ("HF-3", "S000009", "Asset HF-3 was withdrawn on "),
        ("HF-6", "S000010", "Asset HF-6 is in repair since "),
    ],
)
def test_a_bench_file_does_not_pass_one_unit_off_as_another_of_the_register(
    workshop: Path, ohmwright: Callable, tag: str, serial: str, said: str
) -> None:
    plate = ("--maker", "Tessenhove", "--model", "Quillon 300", "--serial")
    ohmwright("asset", "add", "HF-3", *plate, "S000009")
    ohmwright("asset", "withdraw", "HF-3", "--why", "burnt out")
    ohmwright("asset", "add", "HF-6", *plate, "S000010", "--state", "in repair")
    _bench_with_unit(workshop, tag, serial)
    refused = ohmwright("verify", "quick.toml", "--bench", "unit.toml", "--unattended")
    assert (refused.code, said in refused.err) == (2, True)
    assert ohmwright("record", "list", "--json").json == []


def test_a_unit_of_a_bench_file_that_the_register_knows_is_run(
    workshop: Path, ohmwright: Callable
) -> None:
    _bench_with_unit(workshop, "HF-1", "s-000 007")
    assert ohmwright("verify", "quick.toml", "--bench", "unit.toml", "--unattended").code == 0


def test_where_no_unit_can_be_brought_a_serial_number_that_can_be_tried_is_told(
    workshop: Path, ohmwright: Callable
) -> None:
    """A simulated unit has no plate but the simulator's."""
    ohmwright("asset", "change", "HF-1", "--serial", "TQ3-1")
    said = ohmwright("verify", "--bench", "bench.toml", "--asset", "HF-1", "--unattended")
    assert said.code == 3
    told = " ".join(said.err.split())
    assert "asset HF-1 has the serial number 'TQ3-1'" in told
    assert "a simulated unit has S and six digits as its serial number, as S000012" in told
    assert "Bring HF-1" not in told


def test_a_tag_that_was_on_another_unit_is_told_and_remarked(
    workshop: Path, ohmwright: Callable
) -> None:
    verify = ("verify", "quick.toml", "--bench", "unit.toml", "--unattended")
    for serial, asked in (("A1", False), ("A-1", False), ("B2", True)):
        _bench_with_unit(workshop, "HF-9", serial)
        outcome = ohmwright(*verify)
        words = "HF-9 is a Quillon 300, serial B2, by the bench file, and was a Quillon 300, "
        assert (outcome.code, words in outcome.err) == (0, asked)
        assert (words.strip() in " ".join(outcome.out.split())) is asked


def _bench_with_unit(workshop: Path, tag: str, serial: str) -> None:
    """Write the bench of the workshop with a Quillon 300 in its table [asset]."""
    unit = f'id = "{tag}"\nmaker = "Tessenhove"\nmodel = "Quillon 300"\nserial = "{serial}"\n'
    link = '\nlink = { kind = "simulated" }'
    bench = BENCH.replace('"marlow-150"', f'"quillon-300"{link}').split("[[generators]]")
    tables = f"[asset]\n{unit}\n[simulation]\n{bench[1].partition('[simulation]')[2]}"
    (workshop / "unit.toml").write_text(f"{bench[0]}{tables}", encoding="utf-8")


def test_a_tag_in_other_capitals_is_that_of_the_one_unit_it_fits(
    workshop: Path, ohmwright: Callable
) -> None:
    assert ohmwright("asset", "show", "hf-1", "--json").json[0]["tag"] == "HF-1"
    shown = ohmwright("asset", "show", "hf-1").out
    assert "\nNext work: no verdict yet\nIts runs: ohmwright record list --asset HF-1" in shown
    changed = ohmwright("asset", "change", "hf-1", "--site", "Ward 9", "--json")
    assert (changed.json["tag"], changed.json["site"]) == ("HF-1", "Ward 9")
    new = ohmwright("campaign", "new", "may", "--tag", "hf-1", "--simulated", "--json")
    assert new.json["units"] == ["HF-1"]
    put_off = ("--until", "2999-01-31", "--why", "in use", "--json")
    assert ohmwright("campaign", "defer", "may", "hf-1", *put_off).json["tag"] == "HF-1"
    model = ohmwright("asset", "show", "HF-1", "--json").json[0]["model"]
    listed = ohmwright("worklist", "--model", model.upper(), "--json").json
    assert "HF-1" in [one["tag"] for one in listed]
    for command in (("asset", "list"), ("worklist",)):
        found = ohmwright(*command, "--search", "quillon WARD", "--json").json
        assert [one["tag"] for one in found] == ["HF-1"]
    plate = ("--maker", "x", "--serial", "9", "--model", "Quillon 300")
    there = ohmwright("asset", "add", "HF-1 ", *plate)
    assert (there.code, "There is an asset 'HF-1' already" in there.err) == (2, True)


def test_each_fact_of_a_campaign_s_unit_has_a_column_of_its_own(
    workshop: Path, ohmwright: Callable
) -> None:
    ohmwright("campaign", "new", "may", "--simulated")
    assert "Open: HF-1, HF-2." in ohmwright("campaign", "status", "may").out
    by = ("--operator", "Fenn")
    ohmwright("campaign", "defer", "may", "HF-1", "--until", "2999-01-31", "--why", "in use", *by)
    ohmwright("campaign", "hand-over", "may", "HF-2", "--to", "Oake", *by)
    status = ohmwright("campaign", "status", "may").out
    assert "2 left (1 deferred, 1 handed over); about" in status
    assert "Open:" not in status
    rows = [line.split() for line in status.splitlines() if line.startswith("HF-")]
    assert rows == [
        ["HF-1", "deferred", "to", "2999-01-31", "Fenn", "in", "use"],
        ["HF-2", "handed", "over", "to", "Oake", "Fenn"],
    ]
    assert ohmwright("campaign", "report", "may", "--csv", "may.csv").code == 0
    with Path("may.csv").open(encoding="utf-8-sig", newline="") as file:
        rows = {row["tag"]: row for row in csv.DictReader(file)}
    columns = ("phase", "deferred_to", "handed_over_to")
    assert [rows["HF-1"][c] for c in columns] == ["deferred", "2999-01-31", ""]
    assert [rows["HF-2"][c] for c in columns] == ["handed over", "", "Oake"]


def test_a_closed_campaign_says_how_its_units_come_in_again(
    workshop: Path, ohmwright: Callable
) -> None:
    ohmwright("campaign", "new", "may 1", "--simulated")
    said = ohmwright("campaign", "close", "may 1", "--why", "by mistake").out.splitlines()
    assert said[:2] == ["HF-1 removed: by mistake.", "HF-2 removed: by mistake."]
    assert said[2] == "may 1 (simulated): 0 of 0 done; 0 left; 2 removed."
    again = shlex.split(said[3].removeprefix("To take them in again: ohmwright "))
    assert ohmwright(*again).out == "HF-1, HF-2 added to may 1.\n"
    closed = ohmwright("campaign", "close", "may 1", "--why", "by mistake", "--json").json
    assert closed == {"campaign": "may 1", "removed": ["HF-1", "HF-2"]}


def test_a_run_whose_unit_was_handed_over_is_resumed_by_nobody_else(
    workshop: Path, ohmwright: Callable
) -> None:
    ohmwright("campaign", "new", "may", "--simulated", "--work", "verify")
    with open_existing_records(str(workshop / "records")) as store:
        store.append_all("half", (started("half", "HF-1", seed=1),))
        desk = CampaignDesk(store, "may", Worker("Fenn", "here"))
        desk.begin("HF-1", "half")
        CampaignChanges(desk).hand_over("HF-1", "Oake")
    resume = ("verify", "--asset", "HF-1", "--bench", "bench.toml", "--unattended")
    refused = ohmwright(*resume, "--resume", "half", "--operator", "Fenn")
    assert (refused.code, "Run half is for Oake to go on with" in refused.err) == (2, True)
    his = ohmwright(*resume, "--resume", "half", "--operator", "Oake")
    assert "is for Oake to go on with" not in his.err


def test_what_may_be_a_slip_is_told_of_a_single_unit_too(
    workshop: Path, ohmwright: Callable
) -> None:
    plate = ("--maker", "Tessenhove", "--serial", "S000009")
    added = ohmwright("asset", "add", "HF-3", *plate, "--model", "Quillon 30O")
    said = "Look: Model 'Quillon 30O' (1 unit) was not in the register before. Is it 'Quillon 300'?"
    assert (added.code, said in added.err) == (0, True)
    changed = ohmwright("asset", "change", "HF-3", "--procedure", "quik.toml")
    missing = "Look: Procedure 'quik.toml' (1 unit) is no shipped one and no file in this folder"
    assert (missing in changed.err, missing in added.err) == (True, False)
    assert "Look:" not in ohmwright("asset", "change", "HF-3", "--procedure", "quick.toml").err


def test_a_worklist_says_that_simulated_runs_do_not_count(
    workshop: Path, ohmwright: Callable
) -> None:
    said = "1 unit had runs on simulated benches alone, which do not count: --simulated counts them"
    assert said not in ohmwright("worklist").out
    run = ("verify", "--asset", "HF-1", "--bench", "bench.toml", "--unattended")
    assert ohmwright(*run).code == 0
    assert said in ohmwright("worklist").out
    counted = ohmwright("worklist", "--simulated").out
    assert (said in counted, "\n~: of 1 unit, by the due date alone; " in counted) == (False, True)
    assert "forecast made last" not in counted


def test_a_worklist_as_json_is_whole(workshop: Path, ohmwright: Callable) -> None:
    head, first, *_ = REGISTER.splitlines()
    more = [first.replace("HF-1", f"HX-{n}").replace("S000007", f"T{n}") for n in range(25)]
    (workshop / "more.csv").write_text("\n".join([head, *more]) + "\n", encoding="utf-8")
    assert ohmwright("asset", "import", "more.csv").code == 0
    assert len(ohmwright("worklist", "--json").json) == 27
    assert len(ohmwright("worklist", "--json", "--limit", "3").json) == 3
    real, simulated = ohmwright("worklist").out, ohmwright("worklist", "--simulated").out
    assert "7 more are not shown: --limit 27" in real
    by_whose_clock = "Simulated runs count by the date of their bench's own clock"
    assert (by_whose_clock in real, by_whose_clock in simulated) == (False, True)
    assert by_whose_clock in ohmwright("next", "--simulated").out
    never_measured = ohmwright("next", "--json").json["tag"]
    away = ("--state", "in repair", "--why", "cracked housing")
    assert ohmwright("asset", "change", never_measured, *away).code == 0
    said = ohmwright("next").out
    assert not said.startswith(never_measured)
    assert "Passed over, in repair: 1 unit; 'ohmwright worklist" in said
    here = ("next", "--search", never_measured)
    assert ohmwright(*here).out.startswith("No unit that fits is in service.\nPassed over")
    assert ohmwright(*here, "--json").json is None
    none = ohmwright("worklist", "--model", "Nobody's").out
    assert "No unit of the register fits" in none
    assert "asset add" in none


def test_two_units_in_use_have_no_serial_number_in_common(
    workshop: Path, ohmwright: Callable
) -> None:
    plate = ("--maker", "tessenhove", "--model", "Quillon 300", "--serial", "S000007")
    added = ohmwright("asset", "add", "HF-3", *plate)
    assert (added.code, "also that of HF-1" in added.err) == (2, True)
    changed = ohmwright("asset", "change", "HF-2", "--serial", "S000007")
    assert (changed.code, "also that of HF-1" in changed.err) == (2, True)
    ohmwright("asset", "withdraw", "HF-1", "--why", "burnt out")
    assert ohmwright("asset", "add", "HF-3", *plate).code == 0
    back = ohmwright("asset", "change", "HF-1", "--state", "In Service")
    assert (back.code, "also that of HF-3" in back.err) == (2, True)
    assert ohmwright("asset", "change", "HF-1", "--site", "store").code == 0


def test_a_serial_number_under_another_maker_is_told(workshop: Path, ohmwright: Callable) -> None:
    plate = ("--maker", "Tessenhove Ltd", "--model", "Quillon 300", "--serial", "S 000007")
    added = ohmwright("asset", "add", "HF-3", *plate)
    said = "Look: 'S 000007' of HF-3 is also the serial number of HF-1, a Tessenhove Quillon 300:"
    assert (added.code, said in added.err) == (0, True)
    assert "Look:" not in ohmwright("asset", "change", "HF-3", "--site", "Ward 2").err
    assert "also the serial" in ohmwright("asset", "change", "HF-3", "--serial", "S-000008").err


def test_labels_that_come_in_one_burst_are_taken_in_order(monkeypatch: pytest.MonkeyPatch) -> None:
    labels = ["ohmwright\npass\nrun A\nhead 1", "ohmwright\nfail\nrun B\nhead 2"]
    scanner = Scanner()
    with _scanned(monkeypatch, "\n".join([*labels, ""])):
        assert [scanner.asked(), scanner.asked()] == labels
    with _scanned(monkeypatch, "HF-1\nHF-2\n"):
        assert [scanner.asked(), scanner.asked()] == ["HF-1", "HF-2"]


def test_a_procedure_is_named_without_its_ending(workshop: Path, ohmwright: Callable) -> None:
    run = ("--bench", "bench.toml", "--asset", "HF-1", "--unattended")
    assert ohmwright("verify", "quick", *run).code == 0
    assert "nothing wrong" in ohmwright("lint", "quick", "--bench", "bench.toml").out
    assert ohmwright("lint", "demo-monopolar").code == 0
    unknown = ohmwright("lint", "nothing-of-this-name")
    assert (unknown.code, "nothing-of-this-name" in unknown.err) == (2, True)


def test_a_campaign_goes_on_where_it_was_left_and_catches_a_swapped_unit(
    workshop: Path,
    ohmwright: Callable,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    ohmwright("campaign", "new", "may", "--simulated", "--work", "verify")
    ohmwright("asset", "change", "HF-2", "--state", "in repair", "--why", "fan")
    work = ("campaign", "work", "may", "--bench", "bench.toml", "--operator", "Fenn")
    said = "skip\nHF-2\n\nHF-2\nyes\nHF-2\nyes\nstop\n"
    with _scanned(monkeypatch, said, swapped_first="HF-2"):
        outcome = ohmwright(*work)
    assert outcome.code == 0, outcome.err
    assert "Why is it skipped?" in outcome.err
    assert "HF-2 is in repair since" in outcome.err
    assert outcome.out.count("HF-2 was not run, and stays in your hands.") == 1
    with open_existing_records(str(workshop / "records")) as store:
        whole = [store.events(run) for run in store.run_ids()][-1]
    said = [(event.words, event.told_by) for event in whole if isinstance(event, Commented)]
    assert (IN_REPAIR, "ohmwright") in said  # not the operator, who never said so
    assert "The unit at the bench says" in outcome.err
    assert "asset change" not in outcome.err  # the register is not to be made fit a wrong unit
    (swapped, whole) = ohmwright("record", "list", "--json").json
    assert swapped["refused"].startswith("The unit at the bench says")
    assert (swapped["verdict"], whole["refused"]) == ("unfinished", None)
    listed = ohmwright("record", "list").out
    row, *rest = (line for line in listed.splitlines() if swapped["run"] in line)
    assert row.split()[2:4] == ["refused", "HF-2"]
    assert rest == [f"Why a run was refused: ohmwright record show {swapped['run']}"]
    kinds = {
        kind: [one["run"] for one in ohmwright("record", "list", *only, "--json").json]
        for kind in ("refused", "unfinished")
        for only in [("--verdict", kind)]
    }
    assert kinds == {"refused": [swapped["run"]], "unfinished": []}
    verified = ohmwright("record", "verify").out
    assert "Refused before anything was measured, so signed by nobody: 1" in verified
    assert swapped["run"] not in verified
    assert "not recorded" not in listed
    assert f"resume {swapped['run']}" not in outcome.err
    assert "It was refused, and is over" in outcome.err
    for tag in ("HF-1", "HF-2"):
        said = f"{tag} comes again until it is done; 'skip REASON' leaves it out."
        assert outcome.out.count(said) == 1
    shown = ohmwright("record", "show", swapped["run"])
    assert ("is over: begin a new run" in shown.err, "--resume" in shown.err) == (True, False)
    assert "Refused: The unit at the bench says" in shown.out
    paper = ohmwright("certificate", swapped["run"])
    assert (paper.code, "--resume" in paper.err) == (2, False)
    assert "Begin a new run." in paper.err
    on_asset = ohmwright("record", "list", "--asset", "HF-2", "--json").json
    assert [one["run"] for one in on_asset] == [swapped["run"], whole["run"]]
    assert ohmwright("record", "list", "--asset", "HF", "--json").json == []
    status = ohmwright("campaign", "status", "may", "--json").json
    assert (status["done"], status["left"], status["in_hand"]) == (1, 1, 1)
    assert ohmwright("next", "--campaign", "may", "--json", "--operator", "Oake").json is None
    with _scanned(monkeypatch, "HF-8\nHF-9\nstop\n"):  # two slips
        assert ohmwright(*work).out.count("comes again until it is done") == 1
    with _scanned(monkeypatch, "HF-1\n"):
        assert "may (simulated): 2 of 2 done (2 pass); 0 left." in ohmwright(*work).out
    rows = [line.split() for line in ohmwright("campaign", "report", "may").out.splitlines()]
    assert [row[:3] for row in rows if row and row[0].startswith("HF-")] == [
        ["HF-1", "pass*", "Fenn"],  # the bench has no analyzer certificate
        ["HF-2", "pass*", "Fenn"],
    ]
    report = ohmwright("campaign", "report", "may", "--json").json
    paper = ohmwright("record", "report", "may.csv", "--campaign", "may", "--simulated")
    assert paper.code == 0, paper.err  # the runs are of 2026, by the clock of their benches
    assert {row.split('"')[1] for row in Path("may.csv").read_text().splitlines()[1:]} <= {
        "HF-1",
        "HF-2",
    }
    assert [(one["tag"], one["verdict"]) for one in report["units"]] == [
        ("HF-1", "pass"),
        ("HF-2", "pass"),
    ]
    assert ohmwright("next", "--simulated", "--json").json["last_verdict"] == "pass"


def test_a_unit_that_another_was_scanned_before_is_not_said_to_come_again(
    workshop: Path, ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    ohmwright("campaign", "new", "may", "--simulated", "--work", "verify")
    with _scanned(monkeypatch, "HF-2\nstop\n"):
        outcome = ohmwright("campaign", "work", "may", "--bench", "bench.toml")
    assert "Taken instead: HF-2" in outcome.out
    assert outcome.out.count("Next: HF-1") == 2
    assert "comes again" not in outcome.out


@contextmanager
def _scanned(
    monkeypatch: pytest.MonkeyPatch, lines: str, swapped_first: str = "", *, by_hand: bool = True
) -> Iterator[None]:
    """These lines come `by_hand` or from a pipe; of one unit, another is brought at first."""
    reading, writing = os.pipe()
    os.write(writing, lines.encode())
    os.close(writing)
    put_on, brought = unit_on_bench.with_unit, set[str]()

    def with_unit(data: BenchData, unit: object) -> BenchData:
        there = put_on(data, unit)
        first = unit.tag == swapped_first and unit.tag not in brought
        brought.add(unit.tag)
        return there.with_seed(900) if first else there

    with monkeypatch.context() as patched, os.fdopen(reading) as scanner:
        patched.setattr(unit_on_bench, "with_unit", with_unit)
        patched.setattr("sys.stdin", scanner)
        patched.setattr(campaign_work_command, "at_a_terminal", lambda: by_hand)
        yield


def test_a_line_of_a_pipe_does_not_agree_to_a_unit_in_repair(
    workshop: Path, ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    ohmwright("campaign", "new", "may", "--simulated", "--work", "verify")
    ohmwright("asset", "change", "HF-2", "--state", "in repair", "--why", "fan")
    with _scanned(monkeypatch, "HF-2\nyes\nstop\n", by_hand=False):
        outcome = ohmwright("campaign", "work", "may", "--bench", "bench.toml")
    assert "HF-2 is in repair since" in outcome.err
    assert "Work on it all the same?" not in outcome.err
    assert ohmwright("record", "list", "--json").json == []


def test_a_campaign_of_simulated_units_is_not_worked_with_real_ones(
    workshop: Path, ohmwright: Callable
) -> None:
    ohmwright("campaign", "new", "real")
    outcome = ohmwright("campaign", "work", "real", "--bench", "bench.toml")
    assert outcome.code == 2
    assert "This bench is simulated, and campaign real is of real units." in outcome.err


def test_a_campaign_is_not_named_as_another_but_for_capitals(
    workshop: Path, ohmwright: Callable
) -> None:
    assert ohmwright("campaign", "new", "winter").code == 0
    twin = ohmwright("campaign", "new", "Winter")
    assert (twin.code, "There is a campaign 'winter' already" in twin.err) == (2, True)
    assert "or go on with it: ohmwright campaign work winter" in twin.err


def test_who_says_nothing_at_the_bench_is_shown_what_may_be_said(
    workshop: Path, ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    ohmwright("campaign", "new", "may", "--simulated")
    with _scanned(monkeypatch, "\nhelp\nstop\n"):
        said = ohmwright("campaign", "work", "may", "--bench", "bench.toml")
    assert "There is no asset" not in said.err
    assert said.err.count("Scan or type its tag") == 3
    assert said.out.count("Next: ") == 1


def test_no_run_is_begun_anew_where_none_was_begun(
    workshop: Path, ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It began one, with no tag scanned."""
    ohmwright("campaign", "new", "may", "--simulated", "--work", "verify")
    with _scanned(monkeypatch, "anew\nstop\n"):
        said = ohmwright("campaign", "work", "may", "--bench", "bench.toml")
    assert "No run of HF-1 is begun" in said.err
    assert "Scan or type its tag." in said.err
    assert ohmwright("record", "list", "--json").json == []


def test_lint_holds_a_procedure_against_the_generator_of_its_model(
    workshop: Path, ohmwright: Callable
) -> None:
    told = ohmwright("lint", "quick.toml", "--bench", "bench.toml")  # the second of the bench
    assert (told.code, "nothing wrong, and by its files bench.toml can do it" in told.out) == (0, 1)
    text = Path("quick.toml").read_text()
    Path("other.toml").write_text(text.replace("Quillon 300", "Osier 90"))
    other = ohmwright("lint", "other.toml", "--bench", "bench.toml")
    assert "the procedure is for Osier 90, the bench holds Marlow 150." in other.err
    assert other.err.count("other.toml:") == 1


def test_a_refused_run_is_called_so_by_list_and_fleet(workshop: Path, ohmwright: Callable) -> None:
    fault = Fault(at=AT, bench_s=1.0, error="WrongInstrument", message="another", rf_state="off")
    with open_existing_records(str(workshop / "records")) as store:
        store.append_all("r", (started("r", "HF-1", seed=1), fault))
    assert ohmwright("record", "fleet", "--json").json["units"][0]["verdict"] == "refused"
    assert "refused" in ohmwright("record", "fleet").out
    assert "refused" in ohmwright("record", "list").out
    assert "It was refused, and is over" in ohmwright("record", "show", "r").err
    paper = ohmwright("certificate", "r")
    assert "This run was refused, and is over." in paper.err


def test_a_tag_that_is_not_known_is_told_with_the_nearest(
    workshop: Path, ohmwright: Callable
) -> None:
    assert "The nearest: HF-2, HF-1." in ohmwright("asset", "show", "hf3").err
    assert "The nearest: HF-2." in ohmwright("asset", "show", "hf2").err
    assert "The nearest" not in ohmwright("asset", "show", "something").err


def test_who_has_a_unit_is_told_and_a_skip_is_asked_about(
    workshop: Path, ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    ohmwright("campaign", "new", "may", "--simulated", "--work", "verify")
    taken = ohmwright("next", "--campaign", "may", "--operator", "Fenn").out
    assert taken.startswith("In the hands of Fenn: HF-1: Tessenhove Quillon 300")
    with _scanned(monkeypatch, "skip broken\n\nskip broken\nyes\n"):
        work = ohmwright(
            *("campaign", "work", "may", "--bench", "bench.toml", "--operator", "Oake")
        )
    assert "Next: HF-2" in work.out
    assert "Ahead of it in the worklist: HF-1 in the hands of Fenn.\n" in work.out
    assert "Leave HF-2 out of the campaign, for the reason 'broken'?" in work.err
    assert work.out.index("HF-2 is not skipped.") < work.out.index("HF-2 skipped: broken.")


def test_advice_can_be_typed_as_it_is_shown(
    workshop: Path, ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("OHMWRIGHT_RECORDS")
    here = ("--records", "records")
    ohmwright("campaign", "new", "may day", "--simulated", "--work", "verify", *here)
    ohmwright("next", "--campaign", "may day", "--operator", "Fenn", *here)
    with _scanned(monkeypatch, "HF-1\nstop\n"):
        refused = ohmwright(
            *("campaign", "work", "may day", "--bench", "bench.toml", "--operator", "B. Oake"),
            *here,
        )
    (typed,) = (
        line.partition("ohmwright ")[2]
        for line in refused.err.splitlines()
        if "To have it: ohmwright campaign hand-over" in line
    )
    assert typed == "campaign hand-over 'may day' HF-1 --to 'B. Oake' --records records"
    assert ohmwright(*shlex.split(typed)).code == 0
    named = ohmwright("record", "show", "no-such-run", *here)
    assert "'ohmwright record list --records records'" in named.err


def test_a_run_of_a_campaign_goes_on_by_the_command_of_the_campaign(
    workshop: Path, ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    ohmwright("campaign", "new", "may day", "--simulated", "--work", "verify")

    async def cut(job: Job, bench: object, store: SqlStore, *_: object) -> None:
        store.append_all(job.run_id, (started(job.run_id, "HF-1", seed=1), stage()))
        raise LinkLost("The line is gone.")

    monkeypatch.setattr(run_command, "run_and_record", cut)
    with _scanned(monkeypatch, "HF-1\nstop\n"):
        said = ohmwright("campaign", "work", "may day", "--bench", "bench.toml")
    assert "Go on with: ohmwright campaign work 'may day' --bench bench.toml" in said.err
    assert "--resume" not in said.err


def test_a_unit_that_was_refused_gets_a_new_run_of_the_campaign(
    workshop: Path, ohmwright: Callable
) -> None:
    ohmwright("campaign", "new", "may", "--simulated", "--work", "verify")
    fault = Fault(at=AT, bench_s=1.0, error="WrongInstrument", message="another", rf_state="off")
    with open_existing_records(str(workshop / "records")) as store:
        desk = CampaignDesk(store, "may", Worker("Fenn", "bench"))
        for run_id, events in (("r", (fault,)), ("s", ())):
            desk.begin("HF-1", run_id)
            store.append_all(run_id, (started(run_id, "HF-1", seed=1), *events))
            assert desk.take("HF-1").resumes == {"r": None, "s": "s"}[run_id]
        with pytest.raises(UsageError, match="or was refused"):
            claimed_events(store, "r", "Fenn")


def test_a_unit_of_another_maker_than_its_data_is_told_and_remarked(
    workshop: Path, ohmwright: Callable
) -> None:
    verify = ("verify", "--bench", "bench.toml", "--unattended", "--asset", "HF-1")
    words = "The register of assets names Other Works as the maker of HF-1; its generator data"
    assert words not in ohmwright(*verify).err
    ohmwright("asset", "change", "HF-1", "--maker", "Tessenhove Ltd", "--why", "as on the plate")
    assert words not in ohmwright(*verify).err
    ohmwright("asset", "change", "HF-1", "--maker", "Other Works", "--why", "a slip")
    told = ohmwright(*verify)
    assert words in " ".join(told.err.split())
    assert f"{words} are those of a Tessenhove Quillon 300." in " ".join(told.out.split())
    unit = '[asset]\nid = "B-1"\nmaker = "Tesenhove"\nmodel = "Quillon 300"\nserial = "S000009"\n'
    one_generator = BENCH.replace('data = "marlow-150"\n\n[[generators]]\n', "")
    (workshop / "bench.toml").write_text(f"{one_generator}{unit}", encoding="utf-8")
    told = ohmwright("verify", "quick.toml", "--bench", "bench.toml", "--unattended")
    words = "The bench file names Tesenhove as the maker of B-1; its generator data"
    assert words in " ".join(told.err.split())
    assert words in " ".join(told.out.split())


@pytest.mark.parametrize(
    "command",
    [
        ("worklist", "--due-by"),
        ("record", "list", "--since"),
        ("certificate", "last", "--next-due"),
        ("certificate", "last", "--received"),
    ],
)
def test_a_date_of_another_form_is_told_how_it_is_written(
    ohmwright: Callable, command: tuple[str, ...]
) -> None:
    refused = ohmwright(*command, "5.1.2027")
    assert refused.code == 2
    assert "'5.1.2027' is no date. Write it as 2026-01-31" in refused.err


def test_zeros_in_front_of_a_number_are_no_other_tag() -> None:
    assert nearest_tags("HF-4", [f"HF-{n:03d}" for n in range(1, 41)]) == ["HF-004"]


def test_when_a_unit_last_passed_is_told_and_shown_as_told(
    workshop: Path, ohmwright: Callable
) -> None:
    on = datetime.now(UTC).date().replace(day=1)
    assert ohmwright("asset", "change", "HF-1", "--last-passed", f"{on}").code == 0
    assert f"due {on.replace(year=on.year + 1)}, as told" in ohmwright("worklist").out
    slip = ohmwright("asset", "change", "HF-1", "--last-passed", "2226-11-01")
    assert slip.code == 2
    assert "--last-passed: '2226-11-01': it lies in the future" in slip.err
    assert ohmwright("asset", "change", "HF-1", "--last-passed", "").code == 0
    assert "as told" not in ohmwright("worklist").out
