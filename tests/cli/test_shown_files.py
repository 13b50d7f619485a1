"""What `record verify --paper` says of files: in force, superseded, changed, or without proof."""

import csv
import re
import sqlite3
from collections.abc import Callable
from io import StringIO
from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped

DEMO_BENCH = shipped("benches", "demo.toml")


@pytest.fixture(autouse=True)
def wide(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "400")


@pytest.fixture
def records(ohmwright: Callable, procedure: Path, tmp_path: Path) -> Path:
    place = tmp_path / "records"
    by = ("--operator", "C. Wex", "--records", place)
    ohmwright("verify", procedure, "--bench", DEMO_BENCH, *by)
    return place


@pytest.fixture
def last_line(ohmwright: Callable, records: Path) -> Callable[[Path], tuple[int, str]]:
    """The exit code and the last line for one file."""

    def verified(paper: Path) -> tuple[int, str]:
        said = ohmwright("record", "verify", "--paper", paper, "--records", records)
        return said.code, said.out.splitlines()[-1].removeprefix(f"{paper}: ")

    return verified


def written(ohmwright: Callable, records: Path, folder: Path) -> dict[str, Path]:
    """Every form of the certificate by its ending."""
    said = ohmwright("certificate", "--records", records, "--all", folder, "--country", "AQ")
    assert said.code == 0
    return {path.suffix: path for path in folder.iterdir()}


def approve(ohmwright: Callable, records: Path) -> None:
    approved = ohmwright("record", "approve", "last", "--by", "A. Fenn", "--records", records)
    assert approved.code == 0


@pytest.mark.parametrize("ending", [".pdf", ".html"])
def test_each_state_of_a_paper_has_a_last_line_of_its_own(
    ohmwright: Callable,
    records: Path,
    tmp_path: Path,
    last_line: Callable[[Path], tuple[int, str]],
    ending: str,
) -> None:
    draft = written(ohmwright, records, tmp_path / "draft")[ending]
    approve(ohmwright, records)
    issued = written(ohmwright, records, tmp_path / "issued")[ending]
    code, said = last_line(issued)
    assert (code, said.endswith("as it was issued, and in force.")) == (0, True)
    label = last_line(written(ohmwright, records, tmp_path / "label")[".svg"])
    assert (label[0], "its hash: ohmwright record verify --head HASH" in label[1]) == (4, True)
    assert last_line(draft)[0] == 4
    assert last_line(draft)[1].startswith("a draft, as it says itself")

    changed, strange = tmp_path / f"changed{ending}", tmp_path / f"strange{ending}"
    changed.write_bytes(issued.read_bytes() + b"\n")
    code, said = last_line(changed)
    assert (code, said.startswith("CHANGED: it calls itself certificate 2")) == (6, True)
    strange.write_bytes(b"%PDF, of somebody else")
    assert last_line(strange) == (
        4,
        "no paper that was issued here, and it names no certificate: it cannot be checked.",
    )
    foreign = tmp_path / f"foreign{ending}"
    foreign.write_bytes(b"<title>Certificate of calibration 2031-x</title>")
    code, said = last_line(foreign)
    assert (code, "2031-x, which was not issued in these records" in said) == (4, True)
    copy = tmp_path / "copies"
    (tmp_path / "nobody").touch()
    ohmwright("certificate", "--records", records, "--all", copy, "--trusted", tmp_path / "nobody")
    (made,) = copy.glob(f"*{ending}")
    assert last_line(made)[1].startswith("a copy, as it says itself")


def test_a_paper_stays_in_force_until_its_replacement_is_approved(
    ohmwright: Callable,
    records: Path,
    tmp_path: Path,
    last_line: Callable[[Path], tuple[int, str]],
) -> None:
    approve(ohmwright, records)
    issued = written(ohmwright, records, tmp_path / "issued")[".pdf"]
    amend = ("--reason", "Wrong place.", "--by", "B. Tarn", "--place", "ward 3")
    amended = ohmwright("record", "amend", "last", *amend, "--records", records)
    number = re.search(r"Certificate (\S+)-2 is a draft until somebody approves it", amended.out)
    assert number is not None
    assert f"until then {number[1]} stays in force" in amended.out
    code, said = last_line(issued)
    assert code == 0
    assert "in force. An amendment of " in said
    assert said.endswith("by B. Tarn replaces it once that is approved: Wrong place.")
    shown = ohmwright("record", "show", "--records", records).out
    assert f"-2 is to replace {number[1]} once it is approved; until then {number[1]} is" in shown
    draft = written(ohmwright, records, tmp_path / "draft")[".html"].read_text("utf-8")
    assert "Is to replace" in draft
    approve(ohmwright, records)
    code, said = last_line(issued)
    assert (code, "NO LONGER IN FORCE: an amended certificate replaced it" in said) == (4, True)
    assert "which is no longer valid" in ohmwright("record", "show", "--records", records).out
    void = ("--reason", "another unit", "--records", records)
    assert ohmwright("record", "void", "last", *void).code == 0
    assert "NO LONGER IN FORCE: its run was declared void" in last_line(issued)[1]
    papers = written(ohmwright, records, tmp_path / "void")
    said = "void, as it says itself, and no certificate that was issued. Its run is VOID."
    assert [last_line(papers[ending]) for ending in (".pdf", ".html")] == [(4, said)] * 2


def test_a_paper_of_damaged_records_is_not_vouched_for(
    ohmwright: Callable,
    records: Path,
    tmp_path: Path,
    last_line: Callable[[Path], tuple[int, str]],
) -> None:
    approve(ohmwright, records)
    issued = written(ohmwright, records, tmp_path / "issued")[".pdf"]
    connection = sqlite3.connect(records / "records.sqlite", isolation_level=None)
    connection.execute("UPDATE tallies SET passed = passed + 1")
    connection.close()
    code, said = last_line(issued)
    assert (code, said.endswith("not known to be good: see above.")) == (6, True)


@pytest.mark.parametrize(
    ("ending", "old", "new", "differs"),
    [
        (".csv", '"pass"', '"fail"', "verdict fail in the file, pass on record"),
        (".csv", '"cut"', '"x"', "where as_found, x, 100 ohm in the file"),
        (".xml", "Verdict: pass", "Verdict: fail", "verdict fail in the file, pass on record"),
        (".xml", ">pass<", ">fail<", "conformity fail in the file, pass on record"),
        (".xml", "ends in the hash ", "ends in the hash 00", "hash"),
        (".csv", '"TQ3-', '"TQ4-', "serial TQ4-"),
        (".csv", '"C. Wex', '"A. Fenn', "operator A. Fenn"),
        (".csv", ",A000003,", ",A000004,", "A000004,1.0 in the file"),
        (".csv", '"simulated","2', '"","2', "simulated  in the file, simulated on record"),
        (".csv", ',"W",', ',"mA",', "unit mA in the file, W on record"),
        (".csv", ',"OUTPUT",', ',"LEAKAGE",', "path LEAKAGE in the file, OUTPUT on record"),
        (".csv", '"simple acceptance"', '"guard band w = 1 U"', "rule guard band w = 1 U in the"),
        (".csv", '"CAL-25-1187"', '"CAL-26-1"', "traceable_to CAL-26-1"),
        (".xml", "SIMULATED, ", "", "the certificate: simulation "),
        (
            ".xml",
            "due 2026",
            "due 2027",
            "analyzer's calibration 2025-08-18, 2027-08-18 in the file",
        ),
        (".xml", ": certificate CAL-25", ": certificate CAL-26", "traceable to CAL-26"),
        (".xml", ">CAL-25-1187<", ">CAL-26-1187<", "analyzer's certificate CAL-26-1187"),
        (".xml", ">22.5<", ">30.5<", "the certificate: room and conditions 30.5"),
        (".xml", "-draft</dcc:uniqueId", "</dcc:uniqueId", "the certificate: number 2"),
        (".xml", "PerformanceDate>2", "PerformanceDate>1", "the certificate: begin 1"),
        (".xml", ">TQ3-", ">TQ4-", "the certificate: serial number and asset TQ4-"),
        (".xml", "of the whole: fail", "of the whole: pass", "result of the whole pass in the"),
        (".xml", ">cut<", ">coag<", "mode and path Mode, coag"),
        (".xml", ">C. Wex", ">A. Fenn", "the certificate: people A. Fenn"),
        (".xml", "Limits ", "Limits 1", "words by ohmwright v"),
        (".xml", "SHA-256 ", "SHA-256 0", "words by ohmwright v"),
        (".xml", ", not measured", "", "on record"),
        (".xml", r"\percent", r"\one", "words by ohmwright v"),
        (".csv", '"reason"', '"verdict_by"', "columns there twice verdict_by in the file"),
        (".csv", '"final_trim"', '"final_trim","fit_for_use"', "fit_for_use is in the file alone"),
        (".csv", '""\r\n', '"","fit for use"\r\n', "beyond the last column is in the file alone"),
    ],
)
def test_a_file_without_proof_is_held_against_the_record(
    ohmwright: Callable,
    records: Path,
    tmp_path: Path,
    last_line: Callable[[Path], tuple[int, str]],
    ending: str,
    old: str,
    new: str,
    differs: str,
) -> None:
    file = written(ohmwright, records, tmp_path / "papers")[ending]
    code, said = last_line(file)
    assert code == 4
    assert said.startswith("nothing in this file can prove itself. Held against the record, its")
    assert "agree: 2 results of run " in said
    content = file.read_bytes()
    assert old.encode() in content
    file.write_bytes(content.replace(old.encode(), new.encode(), 1))
    code, said = last_line(file)
    assert (code, said.startswith("NOT what is on record of run ")) == (6, True)
    assert differs in said


def test_a_csv_of_an_earlier_program_lacks_what_was_added_later(
    ohmwright: Callable,
    records: Path,
    tmp_path: Path,
    last_line: Callable[[Path], tuple[int, str]],
) -> None:
    file = written(ohmwright, records, tmp_path / "papers")[".csv"]
    rows = list(csv.DictReader(StringIO(file.read_text("utf-8-sig"))))
    for lacking, code in (({"begun", "ended", "analyzer"}, 4), ({"value"}, 6)):
        names = [name for name in rows[0] if name not in lacking]
        with file.open("w", newline="", encoding="utf-8") as out:
            writer = csv.DictWriter(out, names, extrasaction="ignore")
            writer.writeheader()
            writer.writerows(rows)
        assert last_line(file)[0] == code
    assert rows[0]["analyzer"].startswith("Hollin & Skerry,")


def test_a_parquet_file_is_held_against_the_record(
    ohmwright: Callable,
    records: Path,
    tmp_path: Path,
    last_line: Callable[[Path], tuple[int, str]],
) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    file = tmp_path / "results.parquet"
    assert ohmwright("record", "export", "--parquet", file, "--records", records).code == 0
    code, said = last_line(file)
    assert (code, "verdicts agree: 2 results of run " in said) == (4, True)
    table = parquet.read_table(file)
    place = table.column_names.index("value")
    better = [value + 1e-9 for value in table["value"].to_pylist()]
    parquet.write_table(table.set_column(place, "value", [better]), file)
    code, said = last_line(file)
    assert (code, ": value " in said) == (6, True)
    place = table.column_names.index("serial")
    parquet.write_table(table.set_column(place, "serial", [["TQ4-1"] * len(table)]), file)
    assert ": serial TQ4-1 in the file" in last_line(file)[1]


@pytest.mark.parametrize(
    ("old", "new", "differs"),
    [
        ("<dcc:issueDate>2", "<dcc:issueDate>1", "date of issue 1"),
        (">A. Fenn<", ">B. Tarn<", "people B. Tarn, "),
        (">Fennel Metrology<", ">Another<", "laboratory Another"),
        (">Saint Orrin<", ">Another<", "customer Another"),
    ],
)
def test_what_a_digital_certificate_was_issued_with_is_compared_too(
    ohmwright: Callable,
    records: Path,
    tmp_path: Path,
    last_line: Callable[[Path], tuple[int, str]],
    old: str,
    new: str,
    differs: str,
) -> None:
    (records / "laboratory.toml").write_text(
        'name = "Fennel Metrology"\n[[customer]]\nname = "Saint Orrin"\n'
    )
    approve(ohmwright, records)
    file = written(ohmwright, records, tmp_path / "papers")[".xml"]
    amend = ("--reason", "typed wrongly", "--correct", "serial=X-1")
    assert ohmwright("record", "amend", "last", *amend, "--records", records).code == 0
    assert last_line(file)[0] == 4  # as it was before it was amended
    text = file.read_text("utf-8")
    assert old in text
    file.write_text(text.replace(old, new, 1), "utf-8")
    code, said = last_line(file)
    assert (code, f"the certificate: {differs}" in said) == (6, True), said


@pytest.mark.parametrize("ending", [".pdf", ".html"])
def test_a_draft_of_a_void_run_is_said_to_be_of_one(
    ohmwright: Callable,
    records: Path,
    tmp_path: Path,
    last_line: Callable[[Path], tuple[int, str]],
    ending: str,
) -> None:
    draft = written(ohmwright, records, tmp_path / "draft")[ending]
    assert "VOID" not in last_line(draft)[1]
    ohmwright("record", "void", "last", "--reason", "x", "--records", records)
    assert last_line(draft)[1].endswith("that was issued. Its run is VOID.")


@pytest.mark.parametrize(
    ("ending", "content"),
    [
        (".csv", b"\xff\x00"),
        (".csv", b"a,b\n1,2\n"),
        (".csv", b"run,stage\nx\n"),
        (".csv", b"run,stage,step,point,value\n2031-x,as_left,cut,1,2\n"),
        (".xml", b"<a"),
        (".xml", b"<a/>"),
        (".parquet", b"PAR1"),
        (".txt", b""),
    ],
)
def test_what_makes_no_sense_is_told_and_no_fault(
    tmp_path: Path, last_line: Callable[[Path], tuple[int, str]], ending: str, content: bytes
) -> None:
    file = tmp_path / f"strange{ending}"
    file.write_bytes(content)
    code, said = last_line(file)
    assert code == 4
    assert "nothing in this file can prove itself, and" in said or "cannot be checked" in said
