"""`sweep`: its files are checked before RF, and what it found says of what, with what and when."""

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.api import async_bench
from ohmwright.model.shipped import shipped

DEMO_BENCH = shipped("benches", "demo.toml")
SWEEP = ("sweep", "--bench", DEMO_BENCH, "--mode", "cut", "--settings", "150", "--loads", "500")


@pytest.fixture
def no_bench(monkeypatch: pytest.MonkeyPatch) -> None:
    def opened(*_: object, **__: object) -> None:
        raise AssertionError("a bench was opened")

    monkeypatch.setattr(async_bench, "opened_instruments", opened)


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
        ("--settings", "9000", "9000 W is more than cut's 300 W"),
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
