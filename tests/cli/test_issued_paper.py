"""The paper that an approval issues: one for its number, wherever it is printed."""

from collections.abc import Callable
from hashlib import sha256
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from ohmwright.api import certificate_renderer
from ohmwright.model.shipped import shipped
from tests.one_activation import one_activation

DEMO_BENCH = shipped("benches", "demo.toml")


@pytest.fixture
def records(ohmwright: Callable, procedure: Path, tmp_path: Path) -> Path:
    place = tmp_path / "records"
    ohmwright("verify", procedure, "--bench", DEMO_BENCH, "--records", place)
    (place / "laboratory.toml").write_text('name = "Fennel Metrology"\naccreditation = "No. 0"\n')
    return place


def pages(pdf: Path) -> list[str]:
    return [" ".join(page.extract_text().split()) for page in PdfReader(pdf).pages]


def test_one_number_is_one_paper(
    ohmwright: Callable, records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def printed(name: str, *options: object) -> Path:
        where = ("--records", records) if "--records" not in options else ()
        outcome = ohmwright("certificate", *where, "--all", tmp_path / name, *options, "--json")
        return Path(outcome.json["files"]["pdf"])

    def paper_state(paper: Path, code: int) -> str:
        outcome = ohmwright("record", "verify", "--paper", paper, "--records", records)
        assert outcome.code == code, outcome.out
        return str(outcome.out)

    draft = printed("draft")
    draft_dcc = draft.with_suffix(".xml").read_text(encoding="utf-8")
    assert ("No. 0" in draft_dcc, "-draft</dcc:uniqueIdentifier>" in draft_dcc) == (False, True)
    assert draft.name.endswith("-draft.pdf")
    assert all("DRAFT" in page for page in pages(draft))
    assert "a draft, as it says itself" in paper_state(draft, 4)
    approved = ohmwright("record", "approve", "last", "--by", "A. Fenn", "--records", records)
    assert "is issued: ohmwright certificate" in approved.out
    assert "not restricted" in approved.err

    issued = printed("issued")
    assert "COPY" not in "".join(pages(issued))
    assert "who may do so is not restricted" in "".join(pages(issued))
    assert ": issued " in paper_state(issued, 0)
    assert "and as A. Fenn: it proves no second person" in paper_state(issued, 0)
    assert ": issued " in paper_state(issued.with_suffix(".html"), 0)

    ohmwright("record", "export", tmp_path / "all.jsonl", "--records", records)
    other = tmp_path / "other"  # with another laboratory file
    ohmwright("record", "import", tmp_path / "all.jsonl", "--records", other)
    (other / "laboratory.toml").write_text('name = "Another"')
    again = printed("again", "--records", other)
    assert again.read_bytes() == issued.read_bytes()
    with monkeypatch.context() as patched:  # as with other fonts
        patched.setattr(certificate_renderer, "is_issued_file", lambda *_: False)
        assert "it says the same, and is another file" in pages(printed("fonts"))[0]

    (tmp_path / "nobody").touch()
    copy = printed("copy", "--trusted", tmp_path / "nobody")
    assert all("COPY, not the issued paper" in page for page in pages(copy)[1:])
    assert "made where the key of whoever issued it is not trusted. It says" in pages(copy)[0]
    assert "the same but for the note on keys that signed." in pages(copy)[0]
    assert "a copy, as it says itself" in paper_state(copy, 4)

    changed = tmp_path / "changed.pdf"
    changed.write_bytes(issued.read_bytes().replace(b"%PDF", b"%PDf"))
    assert "CHANGED: it calls itself" in paper_state(changed, 6)
    ohmwright("record", "amend", "last", "--reason", "place", "--records", records)
    assert "replaces it once that is approved" in paper_state(issued, 0)


def test_an_issued_paper_stays_so_whoever_is_trusted_later(
    ohmwright: Callable, records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def at(home: str) -> None:
        for name in ("HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME", "XDG_STATE_HOME"):
            monkeypatch.setenv(name, str(tmp_path / home / name))

    def carried(origin: Path, home: str) -> Path:
        """The records as imported on the computer where the rest of the test goes on."""
        file = tmp_path / f"{home}.jsonl"
        assert ohmwright("record", "export", file, "--records", origin).code == 0
        at(home)
        assert ohmwright("record", "import", file, "--records", tmp_path / home / "r").code == 0
        return tmp_path / home / "r"

    def printed(records: Path) -> tuple[bytes, str]:
        paper = tmp_path / "paper.pdf"
        said = ohmwright("certificate", "--records", records, "--pdf", paper, "--overwrite")
        assert said.code == 0
        return paper.read_bytes(), said.err

    def trust(place: int) -> None:
        signed = ohmwright("record", "keys", "list", "--records", store, "--json").json["signed"]
        assert len(signed) == 2
        key = signed[place]["key"]
        assert ohmwright("record", "keys", "trust", key, "--records", store).code == 0

    store = carried(records, "approver")
    assert ohmwright("record", "approve", "last", "--by", "A. Fenn", "--records", store).code == 0
    issued, told = printed(store)
    assert "Not known who sealed the record" in told
    trust(0)
    assert printed(store) == (issued, "")
    store = carried(store, "stranger")  # who could be shown a paper that a forger issued
    copy, told = printed(store)
    assert (copy != issued, "Not known who approved" in told) == (True, True)
    trust(1)
    again, told = printed(store)
    assert (again == issued, "Not known who sealed the record" in told) == (True, True)
    ohmwright("record", "void", "last", "--reason", "x", "--records", store)
    assert printed(store)[0] != issued


def test_an_approval_before_papers_were_issued_makes_copies(
    ohmwright: Callable, records: Path, tmp_path: Path
) -> None:
    ohmwright("record", "approve", "last", "--records", records)
    paper = tmp_path / "c.pdf"
    ohmwright("certificate", "--records", records, "--pdf", paper)
    (record,) = PdfReader(BytesIO(paper.read_bytes())).attachments["record.jsonl"]
    (tmp_path / "r.jsonl").write_bytes(record)  # with the approval, and not which paper it issued
    other = ("--records", tmp_path / "other")
    assert ohmwright("record", "import", tmp_path / "r.jsonl", *other).code == 0
    ohmwright("certificate", *other, "--pdf", tmp_path / "d.pdf")
    assert "the record holds the approval and not which paper" in pages(tmp_path / "d.pdf")[0]


def test_own_pages_come_first_and_the_record_names_them(
    ohmwright: Callable, records: Path, tmp_path: Path
) -> None:
    own, paper = tmp_path / "cover.typ", tmp_path / "own.pdf"
    own.write_text("= Our cover", encoding="utf-8")
    with_own = ("--own-pages", own, "--records", records)
    assert ohmwright("record", "approve", "last", *with_own).code == 0
    assert ohmwright("certificate", *with_own, "--pdf", paper).code == 0
    cover, first, *_ = pages(paper)
    assert ("Our cover" in cover, "begins on page 2" in cover, ": SIMULATED · " in cover) == (
        True,
    ) * 3
    assert "Certificate of calibration" in first
    said = ohmwright("record", "verify", "--paper", paper, "--records", records)
    digest = sha256(own.read_bytes()).hexdigest()
    assert f"own layout, behind the laboratory's own pages of SHA-256 {digest}" in said.out
    ohmwright("certificate", "--records", records, "--pdf", tmp_path / "without.pdf")
    assert "with other pages of the laboratory's own" in pages(tmp_path / "without.pdf")[0]
    refused = ohmwright("certificate", "--own-pages", tmp_path / "none.typ", "--records", records)
    assert refused.code == 2


@pytest.mark.parametrize(("same", "code"), [(True, 0), (False, 2)])
def test_a_key_in_the_laboratory_file_must_be_that_of_who_signs(
    ohmwright: Callable, records: Path, same: bool, code: int
) -> None:
    keys = ohmwright("record", "keys", "list", "--records", records, "--json").json
    key = keys["own"]["key"] if same else "ab" * 32
    entry = f'[[authorised]]\nname = "A. Fenn"\nkey = "{key}"\nmay = ["approve"]\n'
    (records / "laboratory.toml").write_text(f'name = "Fennel"\n{entry}')
    record = ("--by", "A. Fenn", "--records", records)
    approved = ohmwright("record", "approve", "last", *record)
    assert approved.code == code
    assert ("signs with another key for Fennel" in approved.err) == (not same)
    if same:
        assert "authorised by Fennel, whose list has this name and key" in ohmwright(
            "record", "show", "--records", records
        ).out.replace("\n", " ")
        amended = ohmwright("record", "amend", "last", "--reason", "x", *record)
        assert (amended.code, "A. Fenn may not amend run" in amended.err) == (2, True)


WIDE = one_activation("One wide point", "Quillon 300")


def test_a_label_without_a_due_date_names_that_of_the_register(
    ohmwright: Callable, tmp_path: Path
) -> None:
    here = ("--records", tmp_path / "r")
    unit = ("--maker", "Tessenhove", "--model", "Quillon 300", "--serial", "TQ3-20417")
    ohmwright("asset", "add", "HF-017", *unit, "--interval-months", 18, *here)
    (tmp_path / "wide.toml").write_text(WIDE, encoding="utf-8")
    assert ohmwright("verify", tmp_path / "wide.toml", "--bench", DEMO_BENCH, *here).code == 0
    label = ("certificate", "last", "--overwrite", "--label", tmp_path / "label.svg", *here)
    assert "due date" not in ohmwright(*label).err  # nobody approved it: it gets none
    ohmwright("record", "approve", "last", "--by", "A. Fenn", *here)
    asked = " ".join(ohmwright(*label).err.split())
    assert "no due date: give it with --next-due 2027-07-05, by its interval of 18 months" in asked
    assert "due date" not in ohmwright(*label, "--next-due", "2027-07-05").err
