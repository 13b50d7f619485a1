"""The HTML certificate: self-contained, no script, every name only text."""

from base64 import b64encode
from collections.abc import Callable
from hashlib import sha256
from html.parser import HTMLParser

from ohmwright.reports.certificate import Certificate, certificate_of
from ohmwright.reports.certificate_text import certificate_text
from ohmwright.reports.csv_file import certificate_csv
from ohmwright.reports.dcc import certificate_dcc
from ohmwright.reports.html import certificate_html
from ohmwright.reports.html_tables import adjusted_table
from ohmwright.reports.pdf import certificate_pdf
from ohmwright.reports.text import printable

from .conftest import HEAD, a_run, result
from .test_pdf import squeezed, text_of


class Page(HTMLParser):
    """Tags, attributes and text as a browser would take them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def page_of(certificate: Certificate) -> Page:
    return Page(certificate_html(certificate_text(certificate)))


def test_it_says_what_the_pdf_says(certificate: Certificate) -> None:
    page = page_of(certificate)
    text = " ".join(page.text)
    for words in ("Imre Valdane", "99.0 ± 1.2", "90.0 to 110.0 W", "4 to −33", "CAL-1"):
        assert words in text
    assert HEAD in "".join(page.text)  # a hash may break after every eight digits
    assert page.tags.count("wbr") >= 7


def test_its_policy_lets_through_its_own_style_and_nothing_else(certificate: Certificate) -> None:
    text = certificate_html(certificate_text(certificate))
    css = text.split("<style>")[1].split("</style>")[0]
    digest = b64encode(sha256(css.encode()).digest()).decode()
    policy = dict(Page(text).attributes[2:4])["content"]
    assert policy == (
        f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"
    )
    assert text.count("<style") == 1
    assert "style=" not in text


def test_pictures_are_in_the_page_and_told_in_words(certificate: Certificate) -> None:
    page = page_of(certificate)
    assert page.tags.count("svg") == 2
    (first, _) = [value for name, value in page.attributes if name == "aria-label"]
    assert first is not None
    assert "100 Ω: as found 120.0 W, as left 99.0 W, limits 90.0 to 110.0 W." in first
    named = [value for name, value in page.attributes if name == "id"]
    assert len(named) == len(set(named))


def test_the_same_record_is_the_same_file(certificate: Certificate) -> None:
    again = certificate_of(a_run(), HEAD)
    assert certificate_html(certificate_text(certificate)) == certificate_html(
        certificate_text(again)
    )


def test_hostile_names_are_only_text(named: Callable[[str], Certificate], hostile: str) -> None:
    page = page_of(named(hostile))
    plain = page_of(named("x"))
    assert page.tags == plain.tags
    assert [name for name, _ in page.attributes] == [name for name, _ in plain.attributes]
    assert "".join(page.text).count(printable(hostile)) >= 8


def test_only_a_simulated_run_is_marked() -> None:
    assert "SIMULATED" in "".join(page_of(certificate_of(a_run(seed=1))).text)
    assert "SIMULATED" not in "".join(page_of(certificate_of(a_run())).text)


def test_a_point_without_limits_prints_what_was_required_and_what_was_found() -> None:
    told = {"requirement": "power not below", "held_against_it": "3.1 ± 0.4 W above"}
    points = [
        result("as_left", "control", name).model_copy(update={"target": None} | told)
        for name in ("50 W", "100 W")
    ]
    certificate = certificate_of(a_run(points), HEAD)
    sheet = certificate_text(certificate)
    assert sheet.groups[0].requirement == "Required: power not below"
    pdf = text_of(certificate_pdf(sheet, certificate.dated))
    for paper in (" ".join(page_of(certificate).text), pdf):
        assert squeezed(paper).count(squeezed("Required: power not below")) == 1
        assert squeezed(paper).count(squeezed("3.1 ± 0.4 W above")) == 2
    assert certificate_csv(certificate).decode().count("power not below") == 2
    assert certificate_dcc(certificate).decode().count("3.1 ± 0.4 W above") == 2


def test_papers_print_what_the_procedure_notes_of_a_limit() -> None:
    """Would notice a limit that is from memory, shown like one that was looked up."""
    note = "150 mA through 200 ohm: from memory, clause unverified"
    certificate = certificate_of(a_run(points=2, note=note), HEAD)
    said = "Note: 150 mA through 200 Ω: from memory, clause unverified"
    sheet = certificate_text(certificate)
    pdf = text_of(certificate_pdf(sheet, certificate.dated))
    for paper in (" ".join(page_of(certificate).text), pdf):
        # once of the measured step, once of the adjusted point
        assert squeezed(paper).count(squeezed(said)) == 2
    assert certificate_dcc(certificate).decode().count(said) == len(certificate.results)
    assert certificate_csv(certificate).decode().count(note) == len(certificate.results)
    assert "Note:" not in " ".join(page_of(certificate_of(a_run(), HEAD)).text)


def test_an_error_is_told_and_an_adjusted_point_has_the_target_that_it_is_from(
    certificate: Certificate,
) -> None:
    sheet = certificate_text(certificate)
    (row,) = sheet.adjustments
    assert f'data-label="Target">{row.target}<' in "".join(adjusted_table(sheet))
    for paper in (certificate_html(sheet), text_of(certificate_pdf(sheet, certificate.dated))):
        assert squeezed("Error: the value less its target, in percent") in squeezed(paper)


def test_a_reason_that_begins_with_the_verdict_does_not_say_it_twice() -> None:
    doubtful = result("as_found", "cut", "a").model_copy(
        update={"verdict": "undecided", "reason": "undecided by its rule: guard band"}
    )
    (said,) = certificate_text(certificate_of(a_run([doubtful]))).reasons
    assert said == "as found, cut, a: undecided by its rule: guard band"


def test_adjusted_points_that_did_not_pass_stand_with_the_stages() -> None:
    stages = ("as_found", "as_left")
    for verdict in ("fail", "pass"):
        run = [*(result(stage, "cut", "a") for stage in stages), result("adjust", "cut", "b")]
        run[-1] = run[-1].model_copy(update={"verdict": verdict})
        text = certificate_html(certificate_text(certificate_of(a_run(run))))
        assert ("Adjusted: " in text) == (verdict == "fail")
