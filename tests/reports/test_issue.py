"""What a certificate says beside the record: laboratory, issue, approvals, void runs, risk."""

from base64 import b64encode
from datetime import date, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from ohmwright.api.certificate_files import CertificateOptions
from ohmwright.api.certificate_renderer import CertificateRenderer
from ohmwright.engine.run_so_far import recorded_unit
from ohmwright.model.by_hand import NO_PORT
from ohmwright.model.paper import Corrections, IssuedPaper, Logo, PaperData, Party
from ohmwright.model.protections import Protections
from ohmwright.records.addendum import Addendum, AddendumStatement
from ohmwright.records.paper_changes import paper_changes
from ohmwright.records.seal import SealStatement
from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.certificate_text import CertificateText, certificate_text
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.dcc import certificate_dcc
from ohmwright.reports.html import certificate_html
from ohmwright.reports.issue import Issue, addendum_lines, issue_of
from ohmwright.reports.pdf import CERTIFICATE_TEMPLATE, certificate_pdf
from ohmwright.reports.risk_text import coverage_text, risk_text
from ohmwright.reports.typesetting import Picture

from .conftest import BEGUN, HEAD, a_run, result, results
from .test_pdf import squeezed, text_of

RUN = "20260302T093000Z-HF-031-ab12"
PAPER = PaperData(
    laboratory=Party(name="Fennel Metrology", address=("2 Harbour Quay", "4411 Orle")),
    country="AQ",
    accreditation="Accredited, number 0-000",
    customer=Party(name="Saint Orrin Infirmary", address=("17 Hill Street",)),
    place="laboratory",
    received_on=date(2026, 3, 1),
    condition="clean, complete",
    statements=("Valid without a signature on paper.",),
)
ALL_OF_IT = (
    *("Fennel Metrology", "2 Harbour Quay", "Accredited, number 0-000", "Saint Orrin Infirmary"),
    *("17 Hill Street", "2026-03-01", "clean, complete", "Valid without a signature on paper."),
    *("relate only to the item named above", "may be reproduced in full only"),
)


def addendum(what: str, days: int, **said: Any) -> Addendum:
    words = {"operator": "A. Fenn", "reason": "", "paper": None} | said
    statement = AddendumStatement(
        what=what,  # type: ignore[arg-type]
        run=RUN,
        head=HEAD,
        number=1,
        after="",
        signed_at=BEGUN + timedelta(days=days),
        key="ab" * 32,
        **words,
    )
    return Addendum(statement=statement, signature="")


def sheet_of(*addenda: Addendum, given: PaperData | None = None) -> CertificateText:
    return certificate_text(certificate_of(a_run(), HEAD, "", issue_of(RUN, addenda, given)))


def pdf_of(sheet: CertificateText, **how: Any) -> bytes:
    return certificate_pdf(sheet, BEGUN, '{"a":1}\n', **how)


def test_every_paper_names_laboratory_customer_and_scope() -> None:
    sheet = sheet_of(addendum("approved", 1, paper=PAPER))
    html, pdf = certificate_html(sheet), text_of(pdf_of(sheet))
    for words in (*ALL_OF_IT, "A. Fenn", "2026-03-03 09:30 UTC", "signed in the record"):
        assert words in html, words
        assert squeezed(words) in pdf, words
    assert "as told when this paper was made" not in html


@pytest.mark.parametrize(
    ("key", "sealed_as", "says"),
    [
        ("ab" * 32, "Imre Valdane", "One key signed as Imre Valdane and as A. Fenn: it proves no"),
        ("ab" * 32, "A. Fenn", "One key signed twice as A. Fenn: it proves no"),
        ("cd" * 32, "Imre Valdane", ""),
    ],
)
def test_a_paper_names_who_signed_with_one_key(key: str, sealed_as: str, says: str) -> None:
    sealed = SealStatement(
        run=RUN, events=9, head=HEAD, operator=sealed_as, signed_at=BEGUN, key=key
    )
    addenda = [addendum("approved", 1), addendum("amended", 2), addendum("approved", 3)]
    issue = issue_of(RUN, addenda, sealed=sealed)
    certificate = certificate_of(a_run(), HEAD, "", issue)
    sheet = certificate_text(certificate)
    assert sheet.one_key.startswith(says)
    assert bool(sheet.one_key) == bool(says)
    papers = (certificate_html(sheet), certificate_dcc(certificate).decode())
    assert all((says in paper, "One key" in paper) == (True, bool(says)) for paper in papers)
    assert (squeezed(says or "One key") in text_of(pdf_of(sheet))) == bool(says)
    assert addendum_lines(RUN, addenda, sealed)[-1].startswith(says or "Certificate")


def test_what_is_not_on_record_is_told_so() -> None:
    html = certificate_html(sheet_of(given=PAPER))
    assert "as told when this paper was made" in html
    assert "not approved yet" in html
    assert "as told when this paper was made" not in certificate_html(sheet_of())


def test_a_new_issue_names_the_old_one_and_wants_its_own_approval() -> None:
    addenda = [
        addendum("approved", 1, paper=PAPER),
        addendum("amended", 2, reason="Wrong address."),
        addendum("amended", 3, reason="Wrong again", paper=PaperData(place="customer")),
    ]
    second, third = issue_of(RUN, addenda[:2]), issue_of(RUN, addenda)
    assert (second.number, second.replaces, second.approvals) == (f"{RUN}-2", RUN, ())
    assert second.paper == PAPER
    assert (third.number, third.replaces) == (f"{RUN}-3", f"{RUN}-2")
    assert third.paper == PaperData(place="customer")
    pending = f"{RUN}-2 is to replace {RUN} once it is approved; until then {RUN} is in force: Wron"
    assert third.amendments[0].startswith(pending)
    assert f"until then {RUN} is in force" in third.amendments[1]
    approved = issue_of(RUN, [*addenda, addendum("approved", 4)])
    assert approved.issued_on == date(2026, 3, 6)
    assert approved.amendments[1].startswith(f"{RUN}-3 replaces {RUN}-2, which is no longer valid")
    assert (third.in_force, approved.in_force) == (RUN, f"{RUN}-3")
    assert addendum_lines(RUN, [*addenda, addendum("approved", 4)])[-1].startswith(
        f"Certificate {RUN}-3 approved by A. Fenn, 2026-03-06 09:30 UTC"
    )
    sheet = sheet_of(*addenda)
    assert (sheet.done, sheet.dated) == ("2026-03-02", "2026-03-05")
    assert squeezed("Is to replace") in text_of(pdf_of(sheet))


def test_the_paper_that_was_issued_is_none_of_a_later_amendment() -> None:
    paper = IssuedPaper(
        number=RUN, software="s", template_sha256="1", text_sha256="2", files_sha256={"pdf": "3"}
    )
    told = [addendum("approved", 1), addendum("issued", 1, issued=paper)]
    assert issue_of(RUN, told).issued == paper
    assert issue_of(RUN, [*told, addendum("amended", 2, reason="x")]).issued is None


def test_every_paper_says_what_an_amendment_changed() -> None:
    changes = paper_changes(PAPER, PAPER.model_copy(update={"place": "customer"}))
    one = addendum("amended", 1, reason="Wrong place", changes=changes)
    said = "Changed: place from 'laboratory' to 'customer'. No result was changed."
    sheet = sheet_of(one)
    assert said in certificate_html(sheet).replace("&#x27;", "'").replace("&#39;", "'")
    assert squeezed(said) in text_of(pdf_of(sheet))
    certificate = certificate_of(a_run(), HEAD, "", issue_of(RUN, [one]))
    assert said in certificate_dcc(certificate).decode()
    assert "Changed: nothing of what" in sheet_of(addendum("amended", 1, changes=())).statements[0]
    assert "Changed" not in sheet_of(addendum("amended", 1)).statements[0]  # the record is silent


def test_an_amendment_quotes_what_the_record_says_of_the_unit() -> None:
    corrected = PAPER.model_copy(update={"corrections": Corrections(serial="TQ3-9")})
    changes = paper_changes(PAPER, corrected)
    amended = addendum("amended", 1, reason="typed wrong", paper=corrected, changes=changes)
    back = addendum("amended", 2, reason="no", paper=PAPER, changes=paper_changes(corrected, PAPER))
    unit = recorded_unit(a_run())
    one, other = issue_of(RUN, [amended, back], unit=unit).amendments
    assert "the unit's serial from 'TQ3-1' (in the record) to 'TQ3-9'" in one
    assert "the unit's serial from 'TQ3-9' to 'TQ3-1' (in the record)" in other
    assert one in addendum_lines(RUN, [amended, back], unit=unit)


def test_a_unit_that_answers_with_another_serial_number_is_seen_to() -> None:
    answers = {"generator": "Tessenhove,Quillon 300,S000003,1.0"}
    events = [one.model_copy(update=answers) if n == 0 else one for n, one in enumerate(a_run())]
    said = dict(dict(certificate_text(certificate_of(events)).facts)["Unit under test"])
    assert said["Answers as"].endswith("(its serial number there, S000003, is not the one above)")
    (plain,) = (dict(f)["Answers as"] for name, f in sheet_of().facts if name == "Unit under test")
    assert plain == "Tessenhove, Quillon 300"  # which holds no serial number


def test_a_unit_without_a_port_answers_nothing() -> None:
    answers = {"generator": f"Tessenhove,Quillon 300,S000003 ({NO_PORT})"}
    events = [one.model_copy(update=answers) if n == 0 else one for n, one in enumerate(a_run())]
    said = dict(dict(certificate_text(certificate_of(events)).facts)["Unit under test"])
    assert ("Answers as" in said, "Serial number" in said) == (False, True)


def test_a_correction_of_the_unit_is_seen_to_be_one() -> None:
    paper = PAPER.model_copy(update={"corrections": Corrections(serial="TQ3-9")})
    issue = issue_of(RUN, [addendum("amended", 1, reason="typed wrong", paper=paper)])
    certificate = certificate_of(a_run(), HEAD, "", issue)
    said = "TQ3-9 (corrected; in the record: TQ3-1)"
    sheet = certificate_text(certificate)
    assert said in certificate_html(sheet)
    assert squeezed(said) in text_of(pdf_of(sheet))
    dcc = certificate_dcc(certificate).decode()
    assert "Serial of the item (corrected; in the record: TQ3-1)." in dcc
    assert "<dcc:value>TQ3-9</dcc:value>" in dcc
    assert b"TQ3-9" in certificate_csv(certificate)


def test_a_void_run_is_void_on_every_page_and_its_verdict_is_not_the_headline() -> None:
    void = addendum("voided", 1, reason="another unit", operator="B. Tarn")
    logo = Logo(form="svg", base64=b64encode(b"<svg/>").decode())
    approved = addendum("approved", 0, paper=PAPER.model_copy(update={"logo": logo}))
    sheet = sheet_of(approved, void)
    for addenda, vouches in (([approved], True), ([approved, void], False)):
        certificate = certificate_of(a_run(), HEAD, "", issue_of(RUN, addenda))
        assert (PAPER.accreditation in certificate_dcc(certificate).decode()) is vouches
        page = CertificateRenderer(certificate, "", CertificateOptions()).html().decode()
        assert ("data:image/svg+xml" in page) is vouches
    assert sheet.letterhead.accreditation == ""  # nobody vouches for it
    assert PAPER.statements[0] not in sheet.statements
    assert PAPER.accreditation not in pdf_of(sheet).decode("latin-1")
    pages = [page.extract_text() for page in PdfReader(BytesIO(pdf_of(sheet))).pages]
    assert all("VOID" in page for page in pages)
    html = certificate_html(sheet)
    assert "<b>VOID</b></div></header>" in html
    assert "another unit" in html
    assert sheet.title == "Void certificate of calibration"
    amended = addendum("amended", 1, reason="Wrong place.")
    (said,) = (s for s in sheet_of(approved, amended, approved, void).statements if "Wrong" in s)
    assert said.startswith(f"{RUN}-2 replaces {RUN}, which is no longer valid: Wrong place")
    (said,) = (s for s in sheet_of(approved, amended, void).statements if "Wrong" in s)
    assert said.startswith(f"{RUN}-2 is to replace {RUN} once it is approved: Wrong place")
    back = sheet_of(void, addendum("reinstated", 2, reason="the right one"))
    assert "VOID" not in text_of(pdf_of(back))
    assert any("declared void: another unit" in one for one in back.statements)


def test_a_logo_is_part_of_the_papers_and_nothing_else_is_let_in() -> None:
    logo = Picture("svg", b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>')
    sheet = sheet_of(given=PAPER)
    html = certificate_html(sheet, logo)
    assert "img-src data:;" in html
    assert "data:image/svg+xml;base64,PHN2Zy" in html
    assert "img-src" not in certificate_html(sheet)
    assert pdf_of(sheet, logo=logo) == pdf_of(sheet, logo=logo)


def test_the_risk_of_what_was_decided() -> None:
    found = results(2)  # found out of tolerance, P = 1e-9; left within, P = 0.998
    assert risk_text(found) == (
        "Risk of the decisions made (1 − P, or P): a point that passed is out of tolerance: at "
        "most 0.2 %; one that failed is within: below 0.1 %."
    )
    passed = next(one for one in found if one.verdict == "pass")
    assert passed.conformity is not None
    doubted = passed.conformity.model_copy(update={"probability": 1 - 0.0494})
    said = risk_text([passed.model_copy(update={"conformity": doubted})])
    assert said.endswith("at most 5.0 %.")  # 4.9 % would be less than it is
    assert "with k = 2.00 by Student's t with" in coverage_text(found)
    without = (
        "Of values without an analyzer certificate, ± is k times the u of what it holds, with k"
    )
    assert without not in coverage_text(found)
    alone = coverage_text([found[0].model_copy(update={"traceability": "none"}), *found[1:]])
    assert ("U = k u, of about 95 % coverage, with k" in alone, without in alone) == (True, True)
    trials = {"propagation": "Monte Carlo", "coverage_factor": 1.9}
    assert found[0].measured is not None
    drawn = {"measured": found[0].measured.model_copy(update=trials)}
    both = coverage_text([found[0].model_copy(update=drawn), *found[1:]])
    assert "k = 2.00 by Student's t" in both
    assert "k = 1.90 by Monte Carlo (JCGM 101)" in both
    assert f"value, u and U of: as found, {found[0].step}, {found[0].point}." in both
    bare = result("as_left", "cut", "x").model_copy(update={"measured": None, "conformity": None})
    assert (risk_text([bare]), coverage_text([bare])) == ("", "")


@pytest.mark.parametrize(
    ("protections", "told_by", "says"),
    [
        (None, None, True),  # an older record, which does not say
        (Protections(path_set=True), None, True),
        (Protections(), "Imre", True),
        (Protections(), None, False),  # neither instrument nor person joined anything
    ],
)
def test_an_instrument_without_input_paths_has_none_on_paper(
    protections: Protections | None, told_by: str | None, says: bool
) -> None:
    one = result("as_left", "cut", "500 ohm").model_copy(update={"path_told_by": told_by})
    events = list(a_run([one]))
    events[0] = events[0].model_copy(update={"protections": protections})
    certificate = certificate_of(events, HEAD)
    html = certificate_html(certificate_text(certificate))
    assert ("path OUTPUT" in html) == says
    assert (b"OUTPUT" in certificate_csv(certificate)) == says


def test_signatures_are_never_alone_on_a_page() -> None:
    found = [result("as_left", "cut", f"setting {n}") for n in range(90)]
    for points in (78, 84):  # a page break would fall between statements and signatures
        sheet = certificate_text(certificate_of(a_run(found[:points]), HEAD))
        last = PdfReader(BytesIO(pdf_of(sheet))).pages[-1].extract_text()
        assert "Approved by" in last
        assert "Statements and cautions" in last


def test_the_guide_tells_a_template_every_key() -> None:
    guide = (Path(certificate_text.__globals__["__file__"]).parents[1] / "guide").joinpath(
        "certificates.md"
    )
    table = guide.read_text(encoding="utf-8").split("| key of sheet |")[1].split("\n\n")[0]
    keys = {*sheet_of().document(), "logo", "families", "codes"}
    assert {key for key in keys if f"`{key}`" not in table} == set()
    used = CERTIFICATE_TEMPLATE.read_text(encoding="utf-8")
    assert {key for key in keys if f"sheet.{key}" not in used} == set()


def test_dates_of_the_papers_are_those_of_the_record(certificate: Certificate) -> None:
    assert certificate.issue == Issue(RUN)
    assert certificate.dated == certificate.ended_at
    amended = certificate_of(a_run(), HEAD, "", issue_of(RUN, [addendum("amended", 9)]))
    assert amended.dated == datetime(2026, 3, 11, 9, 30, 0, 123456, BEGUN.tzinfo)
