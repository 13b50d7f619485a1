"""`record approve`, `amend`, `void` and `reinstate`, and what papers and lists say of them."""

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.account import account_name
from ohmwright.model.shipped import shipped

DEMO_BENCH = shipped("benches", "demo.toml")
LABORATORY = """name = "Fennel Metrology"
address = ["2 Quay"]
country = "AQ"
accreditation = "Accredited, number 0-000"
logo = "logo.svg"

[[authorised]]
name = "A. Fenn"

[[customer]]
name = "Saint Orrin"
address = ["17 Hill Street"]
"""


@pytest.fixture
def place(ohmwright: Callable, procedure: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "records"
    ohmwright("verify", procedure, "--bench", DEMO_BENCH, "--records", folder)
    (folder / "laboratory.toml").write_text(LABORATORY)  # found beside the records
    (folder / "logo.svg").write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>'
    )
    return folder


def test_from_approval_to_void_and_back(
    ohmwright: Callable, place: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def record(*words: object) -> object:
        return ohmwright("record", *words, "--records", place)

    def page(*options: object) -> str:
        path = tmp_path / "c.html"
        arguments = ("--html", path, "--overwrite", *options)
        assert ohmwright("certificate", "--records", place, *arguments).code == 0
        return path.read_text(encoding="utf-8")

    before = page("--customer", "Somebody")
    assert "Fennel Metrology" in before
    assert "Somebody" in before
    assert "DRAFT" in before
    assert "Accredited" not in before  # nor a logo, which may hold a mark: nobody released it
    assert "data:image/svg+xml" not in before
    refused = record("approve", "last", "--by", "B. Tarn")
    assert (refused.code, "B. Tarn may not approve for Fennel" in refused.err) == (2, True)
    received = ("--received", "2026-01-04", "--condition", "complete")
    approved = record("approve", "last", "--by", "A. Fenn", *received)
    assert approved.code == 0
    other = "its serial number there, S000003, is not TQ3-20417, which the certificate states"
    assert other in " ".join(approved.err.split())
    after = page()
    (place / "laboratory.toml").write_text(LABORATORY.replace("Fennel", "Other"))
    (place / "logo.svg").unlink()
    assert page() == after
    (place / "laboratory.toml").unlink()
    assert page() == after
    said = ("17 Hill Street", "2026-01-04", "complete", "A. Fenn", "signed in the record")
    for words in (*said, "whose list has this name and no key"):
        assert words in after
    for words in ("Accredited", "data:image/svg+xml"):  # nothing vouches for a simulated unit
        assert words not in after
    assert "DRAFT" not in after
    me = account_name()
    unnamed = record("void", "last", "--reason", "x")
    assert (unnamed.code, "by the file of Fennel Metrology: A. Fenn" in unnamed.err) == (2, True)
    (place / "logo.svg").write_text("<svg/>")
    for name in ("Other Metrology", "Fennel Metrology"):  # a file that widens, of either name
        text = LABORATORY.replace("A. Fenn", me).replace("Fennel Metrology", name)
        (place / "laboratory.toml").write_text(text)
        for what in ("amend", "void"):
            refused = record(what, "last", "--reason", "x")
            assert (refused.code, f"{me} may not {what} run" in refused.err) == (2, True)
        assert record("amend", "last", "--reason", "x", "--by", "A. Fenn").code == 2
    both = LABORATORY + f'[[authorised]]\nname = "{me}"\n'
    (place / "laboratory.toml").write_text(both)
    handed = record("amend", "last", "--reason", "Another head.", "--by", "A. Fenn")
    assert f"changes with this: A. Fenn, {me}." in handed.err
    refused = ohmwright("certificate", "--records", place, "--customer", "Somebody")
    assert (refused.code, "record amend" in refused.err) == (2, True)
    amended = record("amend", "last", "--reason", "Wrong place.", "--place", "customer")
    assert "-3 is a draft until somebody approves it" in amended.out
    wrong = record("amend", "last", "--reason", "typed wrong", "--correct", "serail=X")
    assert (wrong.code, "maker, model, serial, department" in wrong.err) == (2, True)
    corrected = ("--correct", "serial=TQ3-9", "--correct", "department=Theatre 5")
    assert record("amend", "last", "--reason", "typed wrong", *corrected).code == 0
    assert "TQ3-9 (corrected; in the record: TQ3-20417)" in page()
    quoted = "the unit's serial from 'TQ3-20417' (in the record) to 'TQ3-9'"
    assert quoted in " ".join(record("show").out.split())
    assert quoted in page().replace("&#x27;", "'")
    assert record("amend", "last", "--reason", "once more", "--correct", "model=Q").code == 0
    assert "TQ3-9 (corrected;" in page()  # earlier corrections stay
    assert "17 Hill Street" in page()  # what was not changed stays
    assert "Wrong place" in record("show").out
    assert record("void", "last", "--reason", " ").code == 2
    void = record("void", "last", "--reason", "another unit")
    assert void.code == 0
    assert re.search(r"serial \S+\. Was another run meant\? .*record reinstate \S+", void.err)
    assert "This paper must not be used" in page()
    ohmwright("certificate", "--records", place, "--all", tmp_path / "void")
    assert all("-void." in one.name for one in (tmp_path / "void").iterdir())
    assert "void (" in record("list").out
    assert record("list", "--json").json[0]["void"] is True
    assert "Left out: 1 void run." in record("fleet").out
    assert record("fleet", "--json").json["void_runs_left_out"] == 1
    shown = record("show", "--json").json
    assert (shown["void"], shown["addenda"][-1]["reason"]) == (True, "another unit")
    assert "1 of them void" in record("export", tmp_path / "runs.jsonl").out
    assert record("verify").code == 0
    assert (
        ohmwright("record", "import", tmp_path / "runs.jsonl", "--records", tmp_path / "b").code
        == 0
    )
    assert "VOID" in ohmwright("record", "show", "--records", tmp_path / "b").out
    monkeypatch.setenv("OHMWRIGHT_OPERATOR", "Nobody Known")
    stranger = record("reinstate", "last", "--reason", "it was right")
    assert (stranger.code, "Nobody Known may not" in stranger.err) == (2, True)
    monkeypatch.delenv("OHMWRIGHT_OPERATOR")
    assert record("reinstate", "last", "--reason", "it was right").code == 0
    assert "must not be used" not in page()
    assert record("verify").code == 0


def test_of_several_customers_none_is_taken_unasked(
    ohmwright: Callable, place: Path, tmp_path: Path
) -> None:
    file, here = place / "laboratory.toml", ("--records", place)
    file.write_text(LABORATORY + '[[customer]]\nname = "Vellow Clinic"\n', encoding="utf-8")
    draft = ohmwright("certificate", "last", "--html", tmp_path / "c.html", *here)
    assert "several customers, and none was named: " in draft.err
    assert "17 Hill Street" not in (tmp_path / "c.html").read_text(encoding="utf-8")
    refused = ohmwright("record", "approve", "last", "--by", "A. Fenn", *here)
    assert (refused.code, "with --customer" in refused.err) == (2, True)
    named = ("--by", "A. Fenn", "--customer", "Vellow Clinic")
    assert ohmwright("record", "approve", "last", *named, *here).code == 0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("name = 3", "name"),
        ('name = "x"\nadress = []', "address"),
        ('name = "x"\ncountry = "Germany"', "country"),
        ('name = "x"\nlogo = "none.svg"', "logo"),
        ('name = "x"\n[signature]\nkey = "a"\ncertificate = "b"', "cannot be read"),
    ],
)
def test_a_laboratory_file_that_makes_no_sense(
    ohmwright: Callable, place: Path, tmp_path: Path, text: str, words: str
) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(text)
    paper = (
        ("--dcc", tmp_path / "c.xml") if "signature" in text else ("--html", tmp_path / "c.html")
    )
    refused = ohmwright("certificate", "--records", place, "--laboratory", file, *paper)
    assert (refused.code, words in refused.err, "mine.toml" in refused.err) == (2, True, True)
