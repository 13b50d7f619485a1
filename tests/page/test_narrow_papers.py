"""Papers as HTML on a telephone, where nothing is wider than 400 px, and printed from there."""

from pathlib import Path

import pytest
from playwright.sync_api import Browser

from ohmwright.records.addendum import Addendum
from ohmwright.reports.certificate import certificate_of
from ohmwright.reports.certificate_text import certificate_text
from ohmwright.reports.html import certificate_html
from ohmwright.reports.issue import issue_of
from tests.reports.conftest import HEAD, a_run
from tests.reports.test_issue import PAPER, RUN, addendum

LONG = "HF-019-theatre-complex-north-" + 40 * "0"
APPROVED = addendum("approved", 1, paper=PAPER)


@pytest.mark.parametrize("approvals", [(), (APPROVED,)])
def test_a_certificate_fits_400_px(
    browser: Browser, tmp_path: Path, approvals: tuple[Addendum, ...]
) -> None:
    run = a_run(id=LONG, serial=LONG, operator=LONG)
    paper = certificate_text(certificate_of(run, HEAD, "", issue_of(RUN, approvals)))
    (tmp_path / "paper.html").write_text(certificate_html(paper), encoding="utf-8")
    page = browser.new_page(viewport={"width": 400, "height": 900})
    page.goto((tmp_path / "paper.html").as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 400
    # else a browser that prints no backgrounds has it dark, over the figures
    mark = page.locator(".watermark span")
    if approvals == ():
        assert mark.evaluate("one => getComputedStyle(one).printColorAdjust") == "exact"
