"""A real browser on the page: opened, admitted, and worked as people do it."""

import re
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect, sync_playwright

from tests.one_activation import one_activation

from .conftest import LIMIT_S, Site

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
SETTLED_MS = 700
"""Longer than a request must have been shown before it is answered."""
expect.set_options(timeout=1000 * LIMIT_S)


LONG_ACTIVATION = one_activation(
    "One long activation", "Quillon 300", "age_s = 25\nmax_on_s = 35"
).replace("percent = 20", "percent = 0.5")
"""A procedure during whose one activation there is time for a STOP.

Its tolerance is too narrow for a decision before the longest time that RF may be on.
"""


@contextmanager
def opened_browser() -> Iterator[Browser]:
    """Open Chromium until the block ends; skip where it is not installed."""
    if CHROMIUM is None:
        pytest.skip("Chromium is not installed (Debian's package chromium)")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@dataclass
class Person:
    """Somebody at a browser of their own; what the browser complained of is kept."""

    page: Page
    complaints: list[str] = field(default_factory=list)

    @classmethod
    def admitted(cls, browser: Browser, site: Site, **options: Any) -> "Person":
        context = browser.new_context(**{"viewport": {"width": 1280, "height": 900}, **options})
        context.set_default_timeout(1000 * LIMIT_S)
        person = cls(context.new_page())
        person.page.on("pageerror", lambda problem: person.complaints.append(str(problem)))
        person.page.on(
            "console",
            lambda said: person.complaints.append(said.text) if said.type == "error" else None,
        )
        person.page.goto(site.fresh_address())
        expect(person.page.locator("#views a").first).to_be_visible()
        return person

    def go(self, where: str) -> None:
        """Go to a view by its address."""
        self.page.evaluate("where => { location.hash = where }", where)

    def choose(self, procedure: str, *, work: str = "calibrate", unattended: bool = True) -> None:
        """Fill in what is to be run."""
        form = self.page.locator("form.start")
        option = form.locator("select[name=procedure] option", has_text=procedure)
        expect(option).to_be_attached()
        form.locator("select[name=procedure]").select_option(option.get_attribute("value"))
        form.locator("select[name=work]").select_option(work)
        if not form.locator("input[name=unattended]").is_hidden():  # as it is in practice
            form.locator("input[name=unattended]").set_checked(unattended)

    def begin(self, procedure: str, **choices: Any) -> None:
        """Begin a run at the bench that is shown."""
        self.choose(procedure, **choices)
        self.page.get_by_role("button", name="Begin").click()

    def sees(self, look: str) -> None:
        """Wait until the RF state of the bench that is shown looks so."""
        expect(self.page.locator(".one-bench .rf")).to_have_attribute("data-look", look)

    def sees_state(self, words: str) -> None:
        """Wait until the sentence on the run has these words."""
        expect(self.page.locator(".one-bench .state")).to_have_text(re.compile(words))


class Hands:
    """Somebody who practises: does what the page says, at the unit on the page."""

    def __init__(self, page: Page, reaction_s: float) -> None:
        """`reaction_s`: from a cue to the first press, in real time."""
        self.page, self.presses, self._done = page, 0, ""
        self._reaction_ms = 1000 * reaction_s

    def work_until(self, ended: str) -> None:
        """Follow cues and requests until the run has ended so."""
        state = self.page.locator(".one-bench .state")
        for _ in range(2000):
            if re.search(ended, state.inner_text()):
                return
            self.look()
            self.page.wait_for_timeout(60)
        seen = self.page.locator("main").inner_text()
        raise AssertionError(f"the run never ended so: {state.inner_text()}\n{seen}")

    def look(self) -> None:
        """Do what is asked for now, once."""
        request, cue = self.page.locator(".request-text"), self.page.locator(".cue-words")
        if request.count():
            self._answer(request.inner_text())
        elif cue.count() and cue.is_visible():
            words, whole = cue.inner_text(), self.page.locator(".cue").inner_text()
            if whole != self._done:
                self._done = whole
                self.page.wait_for_timeout(self._reaction_ms)
                self._press(words)

    def _answer(self, words: str) -> None:
        button = self.page.get_by_role("button", name=re.compile("Service mode|Save|Normal use"))
        if "Enter service mode" in words:
            point = re.search(r"point (\w+)", words)
            assert point is not None
            self.page.get_by_label("Adjustment point").select_option(point[1])
            button.nth(0).click()
        elif words.startswith("Save"):
            button.nth(1).click()
        elif words.startswith("Leave"):
            button.nth(2).click()
        else:
            self._press(words)
        self.page.wait_for_timeout(SETTLED_MS)
        self.page.locator(".answer").first.click()
        expect(self.page.locator(".request-text", has_text=words)).to_have_count(0)

    def _press(self, words: str) -> None:
        found = re.search(r"(coarse|fine) (up|down)(?: (\d+))?", words)
        for _ in range(0 if found is None else int(found[3] or 1)):
            assert found is not None
            self.page.get_by_role("button", name=f"{found[1]} {found[2]}").click()
            self.presses += 1


def axe_findings(page: Page, rules: Sequence[str] = ()) -> list[str]:
    """What axe-core calls serious or critical, with the elements that it is about.

    `rules`: only these; without any, all of them.
    """
    source = (Path(__file__).parent / "axe" / "axe.min.js").read_text(encoding="utf-8")
    page.evaluate(source)
    options = {"resultTypes": ["violations"], **({"runOnly": list(rules)} if rules else {})}
    found = page.evaluate("options => axe.run(document, options)", options)
    return [
        f"{one['id']}: {one['help']}: {[node['html'][:120] for node in one['nodes'][:3]]}"
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
    ]
