"""`sweep`: its files are checked before RF, and what it found says of what, with what and when."""

import csv
import re
import shlex
import signal
from collections.abc import Callable
from pathlib import Path

import pyarrow.parquet
import pytest

from ohmwright.api import async_bench, sweep_run
from ohmwright.api.curve_file import read
from ohmwright.instruments.remote_analyzer import RemoteAnalyzer
from ohmwright.instruments.remote_generator import RemoteGenerator
from ohmwright.model.errors import LinkLost
from ohmwright.model.shipped import shipped

DEMO_BENCH = shipped("benches", "demo.toml")
SWEEP = ("sweep", "--bench", DEMO_BENCH, "--mode", "cut", "--settings", "155", "--loads", "500")


@pytest.fixture
def no_bench(monkeypatch: pytest.MonkeyPatch) -> None:
    def opened(*_: object, **__: object) -> None:
        raise AssertionError("a bench was opened")

    monkeypatch.setattr(async_bench, "opened_instruments", opened)


@pytest.fixture
def line_lost_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The generator's line is gone when it is told its second setting."""
    select, calls = RemoteGenerator.select, []

    async def lost(self: RemoteGenerator, mode: str, setting_w: float) -> None:
        calls.append(setting_w)
        if len(calls) == 2:
            raise LinkLost("The generator's line is gone.", "Nobody knows.", "Start again.")
        await select(self, mode, setting_w)

    monkeypatch.setattr(RemoteGenerator, "select", lost)


@pytest.mark.usefixtures("no_bench")
@pytest.mark.parametrize("name", ["none/curve.csv", ".", "file/curve.csv", "x" * 300])
def test_a_file_that_cannot_be_made_is_refused_before_a_bench_is_opened(
    ohmwright: Callable, tmp_path: Path, name: str
) -> None:
    (tmp_path / "file").write_text("")
    refused = ohmwright(*SWEEP, "--csv", tmp_path / name)
    assert refused.code == 2
    assert "cannot be written" in refused.err
    assert "Nothing was switched on." in refused.err


@pytest.mark.usefixtures("no_bench")
def test_an_existing_file_is_refused_before_a_bench_is_opened(
    ohmwright: Callable, tmp_path: Path
) -> None:
    mine = tmp_path / "mine.csv"
    mine.write_text("mine")
    refused = ohmwright(*SWEEP, "--csv", mine)
    assert (refused.code, mine.read_text()) == (2, "mine")
    assert "Give another name, or --overwrite." in refused.err


def test_an_existing_file_is_replaced_when_asked(ohmwright: Callable, tmp_path: Path) -> None:
    mine = tmp_path / "mine.csv"
    mine.write_text("mine")
    assert ohmwright(*SWEEP, "--csv", mine, "--overwrite").code == 0
    assert mine.read_text().startswith("mode,setting_w,")


def test_the_check_leaves_no_file_behind(ohmwright: Callable, tmp_path: Path) -> None:
    path = tmp_path / "curve.csv"
    assert ohmwright(*SWEEP[:4], "no-such-mode", *SWEEP[5:], "--csv", path).code == 2
    assert not path.exists()


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_the_table_is_printed_though_writing_fails(ohmwright: Callable) -> None:
    outcome = ohmwright(*SWEEP, "--csv", "/dev/full")
    assert outcome.code == 2
    assert "/dev/full: cannot be written" in outcome.err
    assert "500 ohm" in outcome.out
    assert "Voltage: current times load resistance" in outcome.out  # nobody measured it
    assert re.search(r"; then: ohmwright sweep .* --csv /dev/full --overwrite", outcome.err)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
@pytest.mark.usefixtures("line_lost_once")
def test_what_ended_a_sweep_is_told_last_though_writing_fails(ohmwright: Callable) -> None:
    ended = ohmwright(*SWEEP, "--loads", "200,500", "--csv", "/dev/full")
    assert ended.code == 3
    unwritten, lost = (ended.err.index(words) for words in ("/dev/full: can", "line is gone"))
    assert unwritten < lost


def test_table_csv_and_json_say_that_it_was_simulated(ohmwright: Callable, tmp_path: Path) -> None:
    path = tmp_path / "curve.csv"
    table = ohmwright(*SWEEP, "--csv", path).out
    assert table.splitlines()[2] == "SIMULATED, seed 3: no evidence about any real unit"
    (as_json,) = ohmwright(*SWEEP, "--json").json
    known = {
        "simulated_seed": 3,
        "unit": "HF-017",
        "unit_model": "Quillon 300",
        "unit_serial": "TQ3-20417",
        "date": "2026-01-05",
        "age_s": 6.0,
    }
    assert as_json.items() >= known.items()
    assert as_json["analyzer"].split(",")[1] in table
    (as_csv,) = csv.DictReader(path.read_text(encoding="utf-8").splitlines())
    assert list(as_csv) == list(as_json)
    assert list(as_csv).index("on_s") == 18, "a column has lost its place"
    assert as_csv.items() >= {name: str(value) for name, value in known.items()}.items()


@pytest.mark.parametrize(
    ("option", "value", "says"),
    [
        ("--loads", "700", "has no 700 ohm"),
        ("--settings", "9000", "9000 W is more than cut's 310 W"),
        ("--mode", "coagulate", "has no mode 'coagulate'"),
    ],
)
def test_what_the_bench_cannot_do_is_told_by_its_option(
    ohmwright: Callable, option: str, value: str, says: str
) -> None:
    refused = ohmwright(*SWEEP, option, value)
    assert (refused.code, says in refused.err) == (2, True)
    assert option in refused.err
    assert "procedure" not in refused.err


def test_a_dry_run_tells_the_cost_and_opens_nothing(ohmwright: Callable, no_bench: None) -> None:
    cost = ohmwright(*SWEEP, "--dry-run", "--json").json
    assert cost == {"points": 1, "bench_s": 6.7, "rf_s": 6.2, "heat_j": 961}
    said = ohmwright(*SWEEP, "--repeats", "100", "--dry-run").out
    assert "100 points: about " in said


def test_a_plan_in_a_file_is_what_the_options_say(ohmwright: Callable, tmp_path: Path) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text("loads_ohm = [500]\nmodes = { cut = [155] }\n", encoding="utf-8")
    place = tmp_path / "r"
    by_file = ohmwright(*SWEEP[:3], "--plan", plan, "--json", "--records", place)
    by_options = ohmwright(*SWEEP, "--json", "--records", place)
    differ = {"at", "run"}
    for one, other in zip(by_file.json, by_options.json, strict=True):
        assert {k: v for k, v in one.items() if k not in differ} == {
            k: v for k, v in other.items() if k not in differ
        }
    plan.write_text("loads_ohm = [500]\nmods = 3\n", encoding="utf-8")
    both = ohmwright(*SWEEP[:3], "--plan", plan, "--repeats", "2")
    assert (both.code, "--plan says what is measured" in both.err) == (2, True)
    refused = ohmwright(*SWEEP[:3], "--plan", plan)
    assert (refused.code, "plan.toml:2:1" in refused.err) == (2, True)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--order", "shuffled"), "--order: must be"),
        (("--repeats", "0"), "--repeats: "),
        (("--on-fault", "maybe"), "--on-fault: must be"),
        (("--loads", "500,500"), "--loads: names a value twice"),
        (("--settings", "1,x"), "--settings 1,x: these are no numbers"),
        (("--mode", "coag=abc"), "--mode coag: abc: these are no numbers"),
        (("--plot", "curve.xlsx"), "--plot curve.xlsx: a picture cannot be written"),
        (("--band", "none.toml", "--plot", "a.svg"), "none.toml: there is no such file"),
        (("--against", "none.csv"), "none.csv: cannot be read"),
        (("--parquet", "none/x.parquet"), "cannot be written"),
    ],
)
@pytest.mark.usefixtures("no_bench")
def test_what_is_wrong_is_told_by_its_option_before_a_bench_is_opened(
    ohmwright: Callable, options: tuple[str, str], says: str
) -> None:
    refused = ohmwright(*SWEEP, *options)
    assert (refused.code, says in refused.err) == (2, True), refused.err


def test_a_sweep_without_settings_or_mode_is_refused(ohmwright: Callable) -> None:
    assert "--mode cut: at which settings?" in ohmwright(*SWEEP[:5]).err
    assert "Say what to measure." in ohmwright(*SWEEP[:3]).err


def test_a_sweep_cut_short_is_resumed_drawn_and_compared(
    ohmwright: Callable, tmp_path: Path, cut_short: Callable
) -> None:
    place, first = tmp_path / "r", tmp_path / "first.parquet"
    several = (*SWEEP[:3], "--mode", "cut=50,150", "--loads", "200,500", "--records", place)
    whole = ohmwright(*several, "--parquet", first)
    assert whole.code == 0, whole.err
    run = ohmwright("record", "list", "--records", place, "--json").json[0]["run"]
    cut_short(place, run, "point_done")
    picture = tmp_path / "curve.png"
    rest = ohmwright(*SWEEP[:3], "--resume", run, "--records", place, "--dry-run", "--json")
    assert rest.json["points"] == 3
    both = ohmwright(*SWEEP, "--resume", run, "--records", place)
    assert (both.code, "--resume says what is measured" in both.err) == (2, True)
    planned = ohmwright(*SWEEP[:3], "--resume", run, "--plan", "any.toml", "--records", place)
    assert (planned.code, "--plan gives another" in planned.err) == (2, True)
    resumed = ohmwright(
        *(*SWEEP[:3], "--resume", "last", "--records", place),
        *("--plot", picture, "--band", "20", "--against", first),
    )
    assert resumed.code == 0, resumed.err
    against = f"Against {first} (HF-017, 2026-01-05): 0 of 4 points differ by more than U."
    assert against in resumed.out
    assert picture.read_bytes().startswith(b"\x89PNG")
    (other,) = ohmwright(*several, "--against", first, "--json").json["against"]
    assert (other["unit"], other["run"], len(other["points"])) == ("HF-017", run, 4)
    later = ohmwright(*several, "--age", "8", "--against", first)
    assert "2026-01-05, its values at 6 s of an activation and these at 8 s)" in later.out
    assert other["file"] == str(first)
    flat = tmp_path / "flat.parquet"
    assert ohmwright("record", "export", "--parquet", flat, "--records", place).code == 0
    row = pyarrow.parquet.read_table(flat).to_pylist()[0]
    set_to = tuple(row[key] for key in ("quantity", "mode", "setting_w", "load_ohm"))
    assert set_to == ("power_w", "cut", 50, 200)
    assert ohmwright("record", "verify", "--records", place).code == 0
    again = ohmwright(*SWEEP[:3], "--resume", run, "--records", place)
    assert (again.code, "finished" in again.err) == (2, True)


def test_files_of_a_finished_sweep_are_written_anew_with_no_bench_opened(
    ohmwright: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place, path = tmp_path / "r", tmp_path / "curve.csv"
    assert ohmwright(*SWEEP, "--records", place, "--csv", path).code == 0
    first = path.read_text(encoding="utf-8")

    def opened(*_: object, **__: object) -> None:
        raise AssertionError("a bench was opened")

    monkeypatch.setattr(async_bench, "opened_instruments", opened)
    resume = (*SWEEP[:3], "--resume", "last", "--records", place)
    again = ohmwright(*resume, "--csv", path, "--overwrite")
    assert again.code == 0, again.err
    assert "finished already: nothing was measured" in again.err
    assert path.read_text(encoding="utf-8") == first
    assert read(path).remarks() == ()


def test_a_run_of_a_procedure_is_no_sweep_to_go_on_with(
    ohmwright: Callable, tmp_path: Path, cut_short: Callable, procedure: Path
) -> None:
    place = tmp_path / "r"
    ohmwright("verify", procedure, "--bench", DEMO_BENCH, "--records", place, "--unattended")
    run = ohmwright("record", "list", "--records", place, "--json").json[0]["run"]
    cut_short(place, run, "point_done")
    refused = ohmwright(*SWEEP[:3], "--resume", run, "--records", place)
    assert (refused.code, "This run is no sweep." in refused.err) == (2, True)


@pytest.mark.parametrize(
    ("option", "name"), [("--csv", "c.xlsx"), ("--csv", "c.parquet"), ("--parquet", "c.csv")]
)
@pytest.mark.usefixtures("no_bench")
def test_an_ending_of_another_form_is_refused_before_a_bench_is_opened(
    ohmwright: Callable, option: str, name: str
) -> None:
    refused = ohmwright(*SWEEP, option, name)
    assert (refused.code, "which its ending" in refused.err) == (2, True)
    assert "Nothing was switched on." in refused.err


@pytest.mark.parametrize("done", [0, 1])
def test_what_was_read_of_rf_is_told_where_a_person_stops_it(
    ohmwright: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, done: int
) -> None:
    switch_on, calls = RemoteAnalyzer.switch_on, []

    async def stopped(self: RemoteAnalyzer, *given: object) -> None:
        calls.append(given)
        if len(calls) == done + 1:
            signal.raise_signal(signal.SIGINT)
        await switch_on(self, *given)

    monkeypatch.setattr(RemoteAnalyzer, "switch_on", stopped)
    place = tmp_path / "r"
    ended = ohmwright(*SWEEP, "--loads", "200,500", "--records", place)
    assert ended.code == 4, ended.err
    assert "RF was last read back as off, at 08:00:" in ended.err
    assert f"Points on record: {done}. Go on with: ohmwright sweep --bench" in ended.err
    resumed = ohmwright(*SWEEP[:3], "--resume", "last", "--records", place, "--json")
    assert [row["load_ohm"] for row in resumed.json] == [200.0, 500.0]


@pytest.mark.usefixtures("line_lost_once")
def test_a_fault_ends_it_with_its_points_shown_and_the_number_to_go_on_with(
    ohmwright: Callable, tmp_path: Path
) -> None:
    place, path = tmp_path / "r", tmp_path / "curve.csv"
    options = (*SWEEP, "--loads", "200,500", "--records", place)
    ended = ohmwright(*options, "--csv", path)
    assert ended.code == 3
    assert "200 ohm" in ended.out
    assert "Points on record: 1. Go on with: ohmwright sweep --bench" in ended.err
    assert len(path.read_text(encoding="utf-8").splitlines()) == 2
    (remark,) = read(path).remarks()
    assert remark.startswith("1 of 2 points: this is of a sweep that had not ended, run ")
    go_on = re.search(r"Go on with: ohmwright (.*)", ended.err)
    assert go_on is not None
    resumed = ohmwright(*shlex.split(go_on[1]))
    assert resumed.code == 0, resumed.err
    assert [point.load_ohm for point in read(path)] == [200.0, 500.0]
    assert read(path).remarks() == ()


def test_a_sweep_none_of_whose_points_has_a_value_is_shown_and_written(
    ohmwright: Callable, tmp_path: Path
) -> None:
    path, place = tmp_path / "curve.csv", tmp_path / "r"
    too_little = (*SWEEP[:3], "--mode", "cut=0.001", "--loads", "500", "--records", place)
    seen = ohmwright(*too_little, "--csv", path)
    assert seen.code == 4, seen.err
    assert "not measured" in seen.out
    assert "out of date" not in seen.out  # nothing was held against the certificate
    assert len(path.read_text(encoding="utf-8").splitlines()) == 2
    assert ohmwright(*SWEEP, "--records", place, "--against", path).code == 0


@pytest.mark.usefixtures("line_lost_once")
def test_a_line_that_was_lost_and_opened_anew_is_told(
    ohmwright: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sweep_run, "_PAUSES_S", (0.0, 0.0, 0.0))
    options = (*SWEEP, "--loads", "200,500", "--records", tmp_path / "r", "--on-fault", "go-on")
    done = ohmwright(*options)
    assert done.code == 0, done.err
    said = "cut 155 W, 500 ohm: measured anew, with RF read back as off, after: "
    (line,) = (line for line in done.out.splitlines() if line.startswith(said))
    assert line.removeprefix(said) == "The generator's line is gone."


@pytest.mark.parametrize("band", ["-5", "0", "250"])
def test_limits_that_cannot_be_are_refused_before_a_bench_is_opened(
    ohmwright: Callable, tmp_path: Path, no_bench: None, band: str
) -> None:
    refused = ohmwright(*SWEEP, "--plot", tmp_path / "c.png", f"--band={band}")
    assert (refused.code, "cannot be drawn" in refused.err) == (2, True)


def test_a_procedure_without_limits_at_any_point_is_refused_before_a_bench_is_opened(
    ohmwright: Callable, tmp_path: Path, no_bench: None
) -> None:
    band = ("--plot", tmp_path / "c.png", "--band", shipped("procedures", "demo-monopolar.toml"))
    refused = ohmwright(*SWEEP[:3], "--mode", "coag=60", *band)
    assert refused.code == 2
    assert "the procedure has no limits at any point of this sweep" in refused.err
    assert ohmwright(*SWEEP, *band, "--dry-run").code == 0


def test_curves_without_a_point_in_common_are_not_called_alike(
    ohmwright: Callable, tmp_path: Path
) -> None:
    other, place = tmp_path / "other.csv", tmp_path / "r"
    assert ohmwright(*SWEEP[:-1], "200", "--csv", other, "--records", place).code == 0
    seen = ohmwright(*SWEEP, "--against", other, "--records", place)
    assert "no point in common, nothing was compared" in seen.out


def test_the_table_of_a_random_order_is_sorted_and_the_file_keeps_the_order(
    ohmwright: Callable, tmp_path: Path
) -> None:
    path = tmp_path / "curve.csv"
    what = ("--loads", "100,500,2000", "--order", "random", "--order-seed", "2", "--csv", path)
    shown = ohmwright(*SWEEP, *what, "--records", tmp_path / "r").out
    loads = [line.split("│")[3].split()[0] for line in shown.splitlines() if "│ cut" in line]
    assert loads == ["100", "500", "2000"]
    with path.open(encoding="utf-8", newline="") as file:
        measured = [float(row["load_ohm"]) for row in csv.DictReader(file)]
    assert sorted(measured) == [100, 500, 2000] != measured


def test_that_a_sweep_has_no_limits_is_shown_once(ohmwright: Callable, tmp_path: Path) -> None:
    place = ("--records", tmp_path / "r")
    assert ohmwright(*SWEEP, "--loads", "200,500", *place).code == 0
    shown = ohmwright("record", "show", "last", *place)
    assert shown.code == 0
    assert shown.out.count("a sweep has no limits") == 1
    assert "UNDECIDED" not in shown.out
    assert "Result: measured, with no limits to decide by" in shown.out
