"""`certificate`: which files it writes, and what it refuses."""

from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from ohmwright.model.shipped import shipped
from ohmwright.records.sql_store import open_store

DEMO_BENCH = shipped("benches", "demo.toml")


@pytest.fixture
def records(ohmwright: Callable, procedure: Path, tmp_path: Path) -> Path:
    place = tmp_path / "records"
    outcome = ohmwright("verify", procedure, "--bench", DEMO_BENCH, "--records", place)
    assert "ohmwright certificate " in outcome.out
    return place


_PAPERS = ("pdf", "html", "xml")


def test_by_default_pdf_and_html_into_the_current_folder(
    ohmwright: Callable, records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "here"
    folder.mkdir()
    monkeypatch.chdir(folder)
    assert ohmwright("certificate", "--records", records).code == 0
    names = sorted(path.name for path in folder.iterdir())
    assert [name.rsplit(".", 1)[1] for name in names] == ["html", "pdf"]
    assert all(name.startswith("HF-017-2026-01-05-") for name in names)
    assert ohmwright("certificate", "--records", records).code == 0  # the same bytes again


def test_every_one_and_the_record_in_the_pdf_can_be_imported(
    ohmwright: Callable, records: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "papers"
    outcome = ohmwright("certificate", "--records", records, "--all", folder, "--json")
    files = outcome.json["files"]
    assert list(files) == ["pdf", "html", "csv", "dcc", "label"]
    assert {Path(path) for path in files.values()} == {*folder.iterdir()}
    assert outcome.json["verdict"] == "fail"
    (record,) = PdfReader(BytesIO(Path(files["pdf"]).read_bytes())).attachments["record.jsonl"]
    exported = tmp_path / "record.jsonl"
    exported.write_bytes(record)
    assert ohmwright("record", "import", exported, "--records", tmp_path / "other").code == 0
    assert ohmwright("record", "verify", "--records", tmp_path / "other").code == 0


def test_the_hash_on_it_is_on_record(ohmwright: Callable, records: Path, tmp_path: Path) -> None:
    page = tmp_path / "c.html"
    ohmwright("certificate", "--records", records, "--html", page)
    foot = page.read_text(encoding="utf-8").split("<footer>")[1]
    head = foot.split("<code>")[1].split("</code>")[0].replace("<wbr>", "")
    assert ohmwright("record", "verify", "--head", head, "--records", records).code == 0
    assert list(tmp_path.glob("*.pdf")) == []


def test_another_file_is_not_written_over(
    ohmwright: Callable, records: Path, tmp_path: Path
) -> None:
    page, table = tmp_path / "c.html", tmp_path / "c.csv"
    page.write_text("mine")
    refused = ohmwright("certificate", "--records", records, "--html", page, "--csv", table)
    assert (refused.code, page.read_text(), table.exists()) == (2, "mine", False)
    assert "exists and says something else" in refused.err
    forced = ohmwright("certificate", "--records", records, "--html", page, "--overwrite")
    assert forced.code == 0
    assert page.read_text() != "mine"


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (("--label", "label.txt"), 2, "SVG, PDF or PNG"),
        (("--label-size", "big"), 2, "no size that a label can have"),
        (("--label-size", "nanx25"), 2, "no size that a label can have"),
        (("--country", "Germany"), 2, "no country code"),
        (("--dcc", "c.xml", "--schema", "none.xsd"), 2, "no usable XML schema"),
        (("no-such-run",), 2, "There is no run"),
        (("--own-pages", "none.typ"), 2, "there is no such file"),
        (("--csv", "/dev/null/c.csv"), 6, "cannot be written"),
    ],
)
def test_what_it_refuses(
    ohmwright: Callable,
    records: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    arguments: tuple[str, ...],
    code: int,
    words: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    outcome = ohmwright("certificate", *arguments, "--records", records)
    assert (outcome.code, words in outcome.err) == (code, True)


def test_a_run_that_is_not_finished_has_none(
    ohmwright: Callable, records: Path, tmp_path: Path
) -> None:
    with open_store(str(records), tmp_path / "key", tmp_path / "witness") as store:
        (run,) = store.run_ids()
        first = store.events(run)[0]
    other = tmp_path / "other"
    with open_store(str(other), tmp_path / "key", tmp_path / "witness") as store:
        store.append("cut-short", first.model_copy(update={"run_id": "cut-short"}))
    outcome = ohmwright("certificate", "cut-short", "--records", other)
    assert (outcome.code, "not finished" in outcome.err) == (2, True)


def test_a_label_of_the_size_asked_without_a_due_date_for_a_unit_that_failed(
    ohmwright: Callable, records: Path, tmp_path: Path
) -> None:
    path = tmp_path / "label.pdf"
    arguments = ("--label", path, "--label-size", "62x29", "--next-due", "2027-01-05")
    outcome = ohmwright("certificate", "--records", records, *arguments)
    assert (outcome.code, "no due date: the verdict is fail" in outcome.err) == (0, True)
    (page,) = PdfReader(BytesIO(path.read_bytes())).pages
    assert float(page.mediabox.width) == pytest.approx(62 * 72 / 25.4, abs=0.01)
    assert "2027-01-05" not in page.extract_text()


@pytest.mark.parametrize("due", ["2026-01-05", "2020-01-01"])
def test_a_due_date_not_after_the_work_is_refused(
    ohmwright: Callable, records: Path, tmp_path: Path, due: str
) -> None:
    path = tmp_path / "label.svg"
    refused = ohmwright("certificate", "--records", records, "--label", path, "--next-due", due)
    assert (refused.code, path.exists()) == (2, False)
    assert f"--next-due {due}: the work was done on 2026-01-05." in refused.err


def test_none_is_made_from_an_older_copy_of_the_record(
    ohmwright: Callable, procedure: Path, records: Path, tmp_path: Path
) -> None:
    older = {path: path.read_bytes() for path in records.glob("records.sqlite*")}
    assert ohmwright("certificate", "--records", records, "--all", tmp_path / "a").code == 0
    ohmwright("verify", procedure, "--bench", DEMO_BENCH, "--records", records)
    for path, content in older.items():
        path.write_bytes(content)
    outcome = ohmwright("certificate", "--records", records, "--all", tmp_path / "b")
    assert (outcome.code, "older than what this computer has seen" in outcome.err) == (6, True)
    assert not (tmp_path / "b").exists()


def test_a_seal_by_an_unknown_key_is_said_and_stands_on_the_papers(
    ohmwright: Callable, records: Path, tmp_path: Path
) -> None:
    known = ohmwright("certificate", "--records", records, "--all", tmp_path / "a")
    (tmp_path / "nobody").touch()
    nobody = ("--trusted", tmp_path / "nobody")
    unknown = ohmwright("certificate", "--records", records, "--all", tmp_path / "b", *nobody)
    assert (known.code, unknown.code) == (0, 0)
    assert "Not known who sealed the record: key " in unknown.err
    assert "Not known who sealed" not in known.err
    for folder, said in (("a", False), ("b", True)):
        (pdf,), (html,), (xml,) = ([*(tmp_path / folder).glob(f"*.{e}")] for e in _PAPERS)
        printed = " ".join(page.extract_text() for page in PdfReader(pdf).pages)
        for paper in (printed, html.read_text("utf-8"), xml.read_text("utf-8")):
            words = " ".join(paper.split())
            assert ("Not known who sealed the record: key " in words) == said
            assert ("not trusted where this paper was made" in words) == said
