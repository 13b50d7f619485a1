"""The page at a bench where a person keys by a foot switch and types what the meter shows."""

import re
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from threading import Event, Thread
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

from ohmwright.api.bench_data import BenchChoice
from ohmwright.api.records_view import Records
from ohmwright.engine import release
from ohmwright.model.errors import ReleaseNotConfirmed
from ohmwright.model.event import Asked, Commented
from ohmwright.page.benches import BenchOfFile
from ohmwright.page.site import PageSettings
from tests.one_activation import one_activation

from .browsing import SETTLED_MS, Person
from .conftest import LIMIT_S, Client, Screen, page_settings, serving

BENCH = """\
name = "Workshop bench 4"
[analyzer]
data = "plover-200"
identity = "P2-00417"
by_hand = ["load", "path", "foot switch", "reading"]
[generator]
data = "marlow-150"
[asset]
id = "HF-031"
maker = "Sorrelworks"
model = "Marlow 150"
serial = "TM1-00372"
"""
ONE_POINT = one_activation("One point", "Marlow 150", "rest_s = 1\nmax_on_s = 30")
SLOW_SCREEN = """() => addEventListener('click', () => setTimeout(() => {
  const until = performance.now() + 3000
  while (performance.now() < until);
}), { once: true })"""
RELEASE = "RELEASE THE FOOT SWITCH NOW."

WORD_OVER_MS = 1700
"""Longer than a letter counts as part of the word before it."""


def asked(page: Page, words: str) -> None:
    """Wait until this is asked, and can be answered."""
    expect(page.locator(".request-text")).to_contain_text(words)
    page.wait_for_timeout(SETTLED_MS)


def request_of(now: dict[str, Any]) -> dict[str, Any]:
    """The request that is open, as a screen is told; empty where none is."""
    return now["picture"]["request"] or {}


def asks(now: dict[str, Any]) -> int:
    """The number of the request that is open; 0 where none is."""
    return int(request_of(now).get("number", 0))


def asked_by(screen: Screen, fits: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
    """The request of the next news of the bench that `fits`."""
    return request_of(screen.bench(1, fits)["now"])


def answer(client: Client, request: dict[str, Any], words: str, name: str = "") -> None:
    """Answer a request as soon as it counts as read."""
    said = {"number": request["number"], "words": words, "operator": name}
    while (taken := client.post("/benches/1/say", said)).status != 200:
        assert "before it could be read" in taken.text
        time.sleep(0.05)


def of_one_point(folder: Path) -> PageSettings:
    """A page with the bench that is worked by hand, and a procedure of one point."""
    for name, text in (("bench.toml", BENCH), ("one.toml", ONE_POINT)):
        (folder / name).write_text(text)
    bench = BenchOfFile(BenchChoice(folder / "bench.toml"))
    return replace(page_settings(folder, 1.0, folder / "one.toml"), benches=(bench,))


def test_the_page_claims_no_more_than_a_person_did_and_told(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with serving(of_one_point(tmp_path), monkeypatch) as site:
        person = Person.admitted(browser, site)
        page, stop = person.page, person.page.locator("#stop")
        line, field = page.locator("#line"), page.locator(".typed input")
        person.go("#/bench/1")
        page.evaluate(SLOW_SCREEN)  # the begin and the first request are shown together
        person.begin("One point", work="as found", unattended=False)
        asked(page, "are to be off now")
        expect(field).to_be_focused()
        expect(stop).to_contain_text("tells you to release the foot switch: Workshop bench 4 ·")
        page.keyboard.type("0\n")
        asked(page, "Join the analyzer's input")
        sign = page.locator(".one-bench .rf")  # no current shows nothing yet: not red, not off
        expect(sign).to_contain_text(
            re.compile("NO CURRENT READ as told.*; that RF is off is not proved")
        )
        expect(sign).to_have_attribute("data-look", "between")
        page.keyboard.press("x")
        expect(line).to_contain_text("is none of the answers")
        page.keyboard.type("hold", delay=80)  # its d is the answer "done"
        expect(line).to_contain_text("‘d’ was typed within a word: nothing was answered")
        page.wait_for_timeout(WORD_OVER_MS)
        asked(page, "Join the analyzer's input")
        page.keyboard.type("di", delay=150)  # as of "did not", whose d was the answer "done"
        expect(line).to_contain_text("‘di’ was typed as a word: nothing was answered")
        page.wait_for_timeout(WORD_OVER_MS)
        asked(page, "Join the analyzer's input")
        page.keyboard.type("dd")  # a key that is pressed twice
        asked(page, "Set the generator")
        expect(line).to_be_hidden()
        page.keyboard.press("d")
        asked(page, "load resistance to 500 ohm")
        page.keyboard.press("d")
        asked(page, "on a page p alone, or its button")
        page.keyboard.type("stop", delay=80)
        page.wait_for_timeout(WORD_OVER_MS)
        asked(page, "on a page p alone, or its button")
        page.keyboard.press("p")
        asked(page, "What current does the meter show now?")
        expect(field).to_be_focused()
        page.keyboard.type("412\n")
        asked(page, "What current does the meter show now?")
        expect(page.locator(".one-bench output.reading")).to_have_text(
            re.compile(r"^412 mAtyped \d+ s ago$")
        )
        person.sees("on")
        page.keyboard.press("Space")  # the field has the focus, and nothing was typed yet
        asked(page, "are to be off now")
        expect(page.locator(".alarms")).to_contain_text(RELEASE)
        expect(stop).to_contain_text("release the foot switch…")
        page.wait_for_timeout(3000)
        assert page.locator(".alarms").inner_text().count(RELEASE) == 1
        page.keyboard.type("0\n")
        person.sees_state("Stopped")
        expect(page.locator(".notices")).not_to_contain_text(RELEASE)
        told = re.compile(r"^Workshop bench 4: RF off as told at \d\d:\d\d:\d\d\.$")
        expect(page.locator(".after-stop")).to_have_text(told)
        expect(page.locator(".one-bench .rf")).to_contain_text("as told when the run ended")
        person.go("#/bench/1/procedure/0")
        found = page.locator(".procedure > .card").first
        expect(found).to_contain_text("by its files the bench can do it.")
    assert person.complaints == []


def test_a_run_that_is_stopped_before_rf_was_ever_read_says_so_in_every_view(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The age of what was told stood still, and STOP said that RF may be on, in red, for ever."""
    with serving(of_one_point(tmp_path), monkeypatch) as site:
        person = Person.admitted(browser, site, viewport={"width": 390, "height": 844})
        page = person.page
        person.go("#/bench/1")
        person.begin("One point", work="as found", unattended=False)
        asked(page, "are to be off now")
        page.keyboard.type("0\n")
        for words in ("Join the analyzer's input", "Set the generator", "load resistance to 500"):
            asked(page, words)
            page.keyboard.press("d")
        asked(page, "on a page p alone, or its button")
        pill, pressed = page.locator(".rf-follows"), page.locator(".answer")
        expect(pill).to_have_text("RF comes on after this, by the foot switch.")
        expect(pill).to_have_attribute("data-look", "between")  # it is not on yet
        expect(pressed).to_be_in_viewport(ratio=1)
        foot, button = page.locator("#foot").bounding_box(), pressed.bounding_box()
        assert foot is not None
        assert button is not None
        assert button["y"] + button["height"] <= foot["y"], "behind STOP"
        page.keyboard.press("Space")
        asked(page, "are to be off now")
        page.keyboard.type("0\n")
        person.sees_state("Stopped")
        not_proved = "that RF is off is not proved"
        sign = re.compile(f"NO CURRENT READ when the run ended; {not_proved}")
        expect(page.locator(".one-bench .rf")).to_have_text(sign)
        person.go("#/records")
        after = page.locator(".after-stop")
        expect(after).to_have_text(f"Workshop bench 4: no current told; {not_proved}.")
        expect(after).not_to_have_attribute("data-urgent", "")
        expect(page.locator(".elsewhere [data-look=between]")).to_contain_text("Workshop bench 4")
    assert person.complaints == []


def test_a_double_click_answers_one_question(
    browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its second half said "done" of the load, whose question had come under the pointer."""
    with serving(of_one_point(tmp_path), monkeypatch) as site:
        person = Person.admitted(browser, site)
        page = person.page
        person.go("#/bench/1")
        person.begin("One point", work="as found", unattended=False)
        asked(page, "are to be off now")
        page.keyboard.type("0\n")
        asked(page, "Join the analyzer's input")
        page.locator(".answer").click()
        expect(page.locator(".request-text")).to_contain_text("Set the generator")
        page.locator(".answer").click()  # as late as it counts as one click
        expect(page.locator("#line")).to_contain_text("nothing was answered. Read it, then press")
        asked(page, "Set the generator")
        page.locator(".answer").click()
        asked(page, "load resistance to 500 ohm")
        expect(page.locator("#line")).to_be_hidden()
        page.locator("#stop").click()  # no RF was asked for
        person.sees_state("Stopped")
    assert person.complaints == []


def with_rf_on(client: Client, screen: Screen) -> int:
    """Begin the run; return the number of the first request for a reading with RF on."""
    begin, number = {"procedure": 0, "work": "as found"}, 0
    assert client.post("/benches/1/begin", begin).status == 200
    for words in ("0", "done", "done", "done", "pressed"):
        request = asked_by(screen, lambda now, last=number: asks(now) > last)
        number = request["number"]
        answer(client, request, words)
    return int(asked_by(screen, lambda now: asks(now) > number)["number"])


@pytest.mark.parametrize("somebody_answers", [True, False])
def test_a_server_that_ends_serves_the_page_until_the_foot_switch_was_let_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, somebody_answers: bool
) -> None:
    """RELEASE THE FOOT SWITCH stood nowhere, and nobody could say what the meter shows."""
    if not somebody_answers:
        monkeypatch.setattr(release, "BY_HAND_BOUND_S", 1.0)
    under_way, seen = Event(), list[dict[str, Any]]()

    def at_the_page(client: Client) -> None:
        with client.screen() as screen:
            number = with_rf_on(client, screen)
            under_way.set()
            with suppress(AssertionError):  # the stream has ended
                while True:
                    now = screen.bench(1, lambda _: True)["now"]
                    seen.append(now)
                    is_new = asks(now) > number and "to be off now" in request_of(now)["text"]
                    if somebody_answers and is_new:
                        number = asks(now)
                        answer(client, request_of(now), "0")

    with serving(of_one_point(tmp_path), monkeypatch) as site:
        person = Thread(target=at_the_page, args=(site.client(),))
        person.start()
        assert under_way.wait(LIMIT_S)
    person.join(LIMIT_S)
    notices = [one["words"] for now in seen for one in now["picture"]["notices"]]
    assert RELEASE in notices
    assert seen[-1]["state"] == "ended"
    assert [type(problem) for problem in site.left_on] == (
        [] if somebody_answers else [ReleaseNotConfirmed]
    )


@pytest.mark.parametrize(
    ("name", "told_as"), [("Ben Ott", "as Ben Ott, as told"), ("", "by whom was not told")]
)
def test_it_is_on_record_that_another_screen_answers(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, told_as: str
) -> None:
    """What the other did is not put to the name that was given at the begin."""

    def asked(screen: Screen, words: str) -> dict[str, Any]:
        return asked_by(screen, lambda now: asks(now) > 0 and words in request_of(now)["text"])

    with serving(of_one_point(tmp_path), monkeypatch) as site:
        one, other = site.client(), site.client()
        with one.screen() as first, other.screen() as second:
            begin = {"procedure": 0, "work": "as found", "operator": "Ada Fell"}
            assert one.post("/benches/1/begin", begin).status == 200
            answer(one, asked(first, "are to be off now"), "0", "Ada Fell")
            request = asked(second, "Join the analyzer's input")
            assert one.post("/benches/1/command", {"do": "leave"}).status == 200
            assert other.post("/benches/1/command", {"do": "take"}).status == 200
            answer(other, request, "done", name)
            answer(other, asked(second, "Set the generator"), "stop", name)
            second.bench(1, lambda now: now["state"] == "ended")
    run = Records(str(tmp_path / "records"))["last"]
    told = [e for e in run.events if isinstance(e, Commented)]
    assert [event.words for event in told] == [
        f"from here on screen {second.number} answers, and no more screen {first.number}, {told_as}"
    ]
    first_by, *others_by = [e.told_by for e in run.events if isinstance(e, Asked)]
    assert first_by == "Ada Fell"
    assert set(others_by) == {name or f"whoever is at screen {second.number}"}
