"""What the page's own code says of RF, readings, figures and results: without a server."""

import mimetypes
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, Route

from ohmwright import page as page_package

STATIC = Path(page_package.__file__).parent / "static"
BLANK = "<!doctype html><p id='line'></p>"
NEWS = """async ({ bench, of, given }) => {
  const store = await import('/static/store.js'), wanted = await import(`/static/${of}.js`)
  store.take('hello', { at_s: 0, screen: 1, benches: 1 })
  store.take('bench', { at_s: 0, bench: 1, run: 1, readings: [], ...bench })
  const known = store.bench(1)
"""
"""Has the page hear of one bench; `known` is it, and `wanted` the module that is tried."""
NOW = {"name": "Bench", "asset": "", "state": "going on", "error": None, "rf_off_at": None}
OFF = {"state": "off", "words": "RF OFF", "note": "", "urgency": "calm", "as_told": False}


@pytest.fixture(scope="module")
def page(browser: Browser) -> Iterator[Page]:
    def answer(route: Route) -> None:
        file = STATIC.parent / route.request.url.removeprefix("http://page.test/")
        if file.is_file():
            kind = mimetypes.guess_type(file.name)[0]
            route.fulfill(body=file.read_bytes(), content_type=kind)
        else:
            route.fulfill(body=BLANK, content_type="text/html")

    page = browser.new_page()
    page.route("**/*", answer)
    page.goto("http://page.test/")
    yield page
    page.close()


def told(page: Page, work: str, of: str, given: Any = None, **bench: Any) -> Any:
    """What `work` returns, once the page has heard of a bench."""
    now, rf = NOW | bench.pop("now", {}), OFF | bench.pop("rf", {})
    news = {"now": now | {"picture": {"now_s": 100, "rf": rf}}, **bench}
    return page.evaluate(f"{NEWS}{work}}}", {"bench": news, "of": of, "given": given})


@pytest.mark.parametrize(
    ("now", "rf", "look", "words"),
    [
        ({}, {}, "off", "RF OFF"),
        ({}, {"state": "on", "words": "RF ON"}, "on", "RF ON"),
        ({}, {"state": "not proved", "words": "NO CURRENT READ"}, "between", "NO CURRENT READ"),
        ({}, {"state": "going off", "words": "W"}, "between", "W"),
        ({}, {"state": "going off", "words": "W", "urgency": "alarm"}, "unknown", "W"),
        ({}, {"state": "on", "words": "RF ON", "urgency": "alarm"}, "unknown", "RF ON"),
        ({}, {"state": "a later version's", "words": "W"}, "unknown", "W"),
        ({"state": "ended"}, {"state": "going off", "words": "W"}, "between", "W"),
        ({"state": "ended"}, {"state": "on", "words": "RF ON"}, "on", "RF ON"),
        ({"state": "ended", "error": {"rf_unknown": True}}, {}, "unknown", "RF STATE UNKNOWN"),
        ({"state": "idle"}, {"state": "not read", "words": "W"}, "idle", "RF not read"),
    ],
)
def test_a_look_of_rf_says_no_more_than_was_read(
    page: Page, now: dict[str, Any], rf: dict[str, Any], look: str, words: str
) -> None:
    said = told(page, "return wanted.rfOf(known)", "rf", now=now, rf=rf)
    assert (said["look"], said["words"]) == (look, words)


@pytest.mark.parametrize(
    ("now", "rf", "words"),
    [
        ({"rf_off_at": "2026-01-01T10:00:00"}, {}, "RF read as off at 10:00:00."),
        ({"rf_off_at": "2026-01-01T10:00:00"}, {"as_told": True}, "RF off as told at 10:00:00."),
        ({"rf_off_at": "2026-01-01T10:00:00"}, {"state": "on"}, "RF MAY BE ON, not read as off."),
        (
            {"rf_off_at": "2026-01-01T10:00:00", "error": {"rf_unknown": True}},
            {},
            "RF MAY BE ON, not read as off.",
        ),
        ({}, {"state": "going off"}, "RF MAY BE ON, not read as off."),
        ({}, {"state": "not proved"}, "RF MAY BE ON, not read as off."),
        (
            {"state": "ended"},
            {"state": "not proved"},
            "no current read; that RF is off is not proved.",
        ),
        ({}, {"state": "not read"}, "RF was not read."),
    ],
)
def test_after_a_stop_rf_is_off_only_where_it_was_read_so_since(
    page: Page, now: dict[str, Any], rf: dict[str, Any], words: str
) -> None:
    work = """
      globalThis.fetch = async () => new Response('{}')
      const bar = wanted.stopBar()
      await wanted.stopThese([known])
      store.take('beat', { at_s: 0 })
      bar.update()
      return bar.element.querySelector('.after-stop').textContent"""
    assert told(page, work, "stop", now=now, rf=rf) == f"Bench: {words}"


@pytest.mark.parametrize(
    ("by_foot", "by_hand"),
    [(False, "Switch RF off at the unit itself"), (True, "Release the foot switch")],
)
@pytest.mark.parametrize("state", ["idle", "going on", "stopping"])
def test_a_stop_while_the_server_is_silent_says_at_once_that_it_is_not_heard(
    page: Page, state: str, by_foot: bool, by_hand: str
) -> None:
    work = """
      globalThis.fetch = () => new Promise(() => {})
      const bar = wanted.stopBar(), { rfOf } = await import('/static/rf.js')
      store.screen.line = 'lost'
      bar.element.querySelector('button').click()
      bar.update()
      return [rfOf(known).look, ...[...bar.element.children].map((one) => one.textContent)]"""
    now = {"state": state, "keyed_by_foot": by_foot}
    look, loud, _, button = told(page, work, "stop", now=now)
    assert look == "unknown"
    assert loud.startswith(f"STOP IS NOT HEARD: the server is silent. {by_hand}")
    assert button.startswith(f"STOPreaches nothing now. {by_hand}")


@pytest.mark.parametrize(
    ("position", "movement", "words"),
    [
        (None, "settled", "no reading"),
        (-1, "settled", "inside the limits"),
        (1, "settled", "inside the limits"),
        (-1.01, "settled", "below the limits"),
        (1.01, "settled", "above the limits"),
        (2, "rising", "rising"),
        (0, "not known", ""),
    ],
)
def test_a_reading_is_named_by_the_side_on_which_it_lies(
    page: Page, position: float | None, movement: str, words: str
) -> None:
    given = {"position": position, "movement": movement}
    assert told(page, "return wanted.where(given)", "gauge", given) == words


@pytest.mark.parametrize(
    ("call", "words"),
    [
        ("withUncertainty(305.649, 1.234)", "305.6 ± 1.2"),
        ("withUncertainty(305.649, 12.34)", "306 ± 12"),
        ("withUncertainty(305.649, null)", "305.6"),
        ("withUncertainty(null, 1)", "–"),
        ("percent(0.0009)", "less than 0.1 %"),
        ("percent(0.0991)", "9.9 %"),
        ("percent(0.5)", "50 %"),
        ("percent(0.9951)", "99.5 %"),
        ("percent(0.9995)", "more than 99.9 %"),
        ("duration(59.4)", "59 s"),
        ("duration(185)", "3 min 05 s"),
        ("duration(4260)", "1 h 11 min"),
    ],
)
def test_figures_are_rounded_to_no_claim(page: Page, call: str, words: str) -> None:
    assert told(page, f"return wanted.{call}", "format") == words


@pytest.mark.parametrize(
    ("typed", "figure"), [("21,5", 21.5), ("−5", -5), (" 0 ", 0), ("", None), ("2 1", "NaN")]
)
def test_a_figure_has_a_comma_or_a_point(page: Page, typed: str, figure: Any) -> None:
    work = "const found = wanted.figureIn({ value: given }); return found !== found ? 'NaN' : found"
    assert told(page, work, "figure_field", typed) == figure


def test_a_point_measured_again_has_one_result_and_the_oldest_are_dropped(page: Page) -> None:
    one, other = (
        {"stage": "as_left", "step": "cut", "point": point, "number": number, "verdict": "fail"}
        for number, point in enumerate("ab", start=1)
    )
    again = one | {"number": 3, "verdict": "pass"}
    work = """
      const { now } = known, told = { at_s: 0, bench: 1, run: 1, readings: [], now }
      const more = (oldest, results) =>
        store.take('bench', { ...told, results: { oldest, new: results } })
      more(1, given.slice(0, 2))
      more(1, given.slice(2))
      const all = known.results.map((one) => one.number)
      more(3, [])
      return [all, known.results.map((one) => one.number)]"""
    assert told(page, work, "results", [one, other, again]) == [[2, 3], [3]]
