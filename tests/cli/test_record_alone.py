"""What a record says by itself, on a computer that has none of the files of the run."""

from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from shutil import rmtree

import pytest
from pypdf import PdfReader

from ohmwright.model.shipped import shipped

DEMO_BENCH = shipped("benches", "demo.toml")
PROCEDURE = """\
title = "Alone"
revision = "4"
model = "Quillon 300"

[defaults]
rest_s = 5
max_on_s = 18

[[step]]
kind = "power_curve"
name = "curve"
mode = "cut"
setting_w = 310
loads_ohm = [100, 500]
power_w = [81.0, 305.6]
tolerance = { percent = 5 }

[[step]]
kind = "leakage"
name = "leak"
mode = "bipolar"
setting_w = 62
limit_ma = 150

[[step]]
kind = "adjust"
name = "trim"
point = "coag current"
load_ohm = 100
current_ma = 620
tolerance = { absolute_ma = 7 }
max_on_s = 40
"""


@pytest.fixture(scope="module")
def exported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What `carried` exports, made by the first test that asks for it."""
    return tmp_path_factory.mktemp("exported") / "run.jsonl"


@pytest.fixture
def carried(
    ohmwright: Callable,
    cut_short: Callable,
    exported: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> Path:
    """A run of two parts, without the certificate and in a warmer room in the second; carried
    over to another computer, where nothing else of it is."""
    if not exported.exists():
        _run_and_export(ohmwright, cut_short, tmp_path / "here", exported)
    for name in ("HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME"):
        monkeypatch.setenv(name, str(tmp_path / "elsewhere" / name))
    assert ohmwright("record", "import", exported).code == 0
    verified = ohmwright("record", "verify")
    assert (verified.code, "is not trusted here" in verified.out) == (4, True)  # and nothing else
    assert "Not whole" not in verified.out
    return tmp_path / "papers"


def _run_and_export(ohmwright: Callable, cut_short: Callable, here: Path, file: Path) -> None:
    here.mkdir()
    bench, procedure = here / "own-bench.toml", here / "alone.toml"
    bench.write_text(DEMO_BENCH.read_text(encoding="utf-8"), encoding="utf-8")
    procedure.write_text(PROCEDURE, encoding="utf-8")
    given = (procedure, "--bench", bench, "--records", here / "r", "--unattended", "--json")
    run = ohmwright("calibrate", *given).json["run"]
    cut_short(here / "r", run, "point_done")
    bench.write_text(bench.read_text().replace('certificate = "gantry-400"\n', ""))
    again = ohmwright("calibrate", *given, "--resume", run, "--temperature-c", 27)
    assert again.json["verdict"] in ("pass", "fail")
    assert ohmwright("record", "export", file, "--records", here / "r").code == 0
    rmtree(here)


def squeezed(text: str) -> str:
    return "".join(text.split()).replace("\u200b", "")


def test_every_paper_made_from_the_record_alone_is_whole(
    ohmwright: Callable, carried: Path
) -> None:
    files = ohmwright("certificate", "--all", carried, "--json").json["files"]
    pages = PdfReader(BytesIO(Path(files["pdf"]).read_bytes())).pages
    text = {kind: Path(files[kind]).read_text(encoding="utf-8") for kind in ("html", "dcc", "csv")}
    text["pdf"] = "".join(page.extract_text() for page in pages)
    text = {kind: squeezed(words) for kind, words in text.items()}
    for kind in ("pdf", "html", "dcc"):
        for words in (
            "bipolar, 62 W into 200 Ω, path LEAKAGE",
            "coag, service mode",
            "cut, 310 W",
            "path OUTPUT",
            "CAL-25-1187",
            "none: no analyzer certificate, so that neither verdict nor U holds",
            "Part 1: begun 2026-01-05 08:00 UTC by unattended; interrupted",
            "no reason is on record",
            "Part 2: resumed",
            "Room: 22.5 °C",
            "27 °C",
            "own-bench.toml",
            "alone.toml",
            "analyzer command set",
            "time limit sent with ON, kept by the analyzer",
            "absent: guard process that owns",
        ):
            shown = words.replace("cut, 310 W", "cut, 310 W into 100 Ω") if kind == "dcc" else words
            if kind == "dcc":
                shown = shown.replace("coag, service mode", "coag, service mode into 100 Ω")
            assert squeezed(shown) in text[kind], (kind, words)
    for words in ('"bipolar",62.0,"",200.0,"LEAKAGE",""', '"CAL-25-1187"', '"none"'):
        assert squeezed(words) in text["csv"], words


def test_the_screen_shows_it_too(ohmwright: Callable, carried: Path) -> None:
    out = ohmwright("record", "show").out
    said = " ".join(out.split())
    for words in (
        "cut, 310 W",
        "200 Ω LEAKAGE",
        "Part 1: begun",
        "Part 2: resumed",
        "A figure in brackets beside a value: the part of the run",
        "[2] PASS",
        "CAL-25-1187",
        "NO ANALYZER CERTIFICATE",
    ):
        assert words in said, words
    assert max(map(len, out.partition("Part 1")[0].splitlines())) <= 80


def test_the_files_of_the_run_come_out_as_they_were(
    ohmwright: Callable, carried: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "files"
    assert ohmwright("record", "documents", "last", folder).code == 0
    assert sorted(path.name for path in folder.iterdir()) == [
        "analyzer-certificate.toml",
        "analyzer-command-set.toml",
        "analyzer-data.toml",
        "bench-2.toml",
        "bench.toml",
        "generator-command-set.toml",
        "generator-data.toml",
        "procedure.toml",
    ]
    assert (folder / "procedure.toml").read_text(encoding="utf-8") == PROCEDURE
    assert (folder / "bench.toml").read_bytes() == DEMO_BENCH.read_bytes()
    again = ohmwright("record", "documents", "last", folder)
    assert (again.code, "exists" in again.err) == (2, True)


def test_a_record_that_keeps_no_files_says_so(ohmwright: Callable, tmp_path: Path) -> None:
    old = Path(__file__).parents[1] / "reports" / "data" / "record-of-two-parts.jsonl"
    assert ohmwright("record", "import", old, "--records", tmp_path / "r").code == 0
    refused = ohmwright("record", "documents", "last", tmp_path / "f", "--records", tmp_path / "r")
    assert (refused.code, "holds no documents" in refused.err) == (2, True)
    shown = ohmwright("record", "show", "--records", tmp_path / "r")
    assert shown.code == 1
    assert "not recorded" in shown.out
