"""Runs begun from the page: they go on without it, and one screen commands."""

from pathlib import Path
from typing import Any

import pytest

from ohmwright.api.records_view import Records
from ohmwright.model.errors import UsageError
from ohmwright.model.event import Fault, RunStarted
from ohmwright.page.lease import TAKE_OVER_AFTER_S, Lease, NotInCommand
from ohmwright.page.screens import GONE_AFTER_S, Screens
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.paced_clock import PacedClock

from .conftest import Site, page_settings, serving

SHORT = """\
title = "Two points"
revision = "1"
model = "Quillon 300"
[[step]]
kind = "power_curve"
name = "cut"
mode = "cut"
setting_w = 310
loads_ohm = [500, 1000]
power_w = [305.6, 285.9]
tolerance = { percent = 20 }
rest_s = 4
"""
BEGIN = {"procedure": 0, "work": "as found", "unattended": True}


@pytest.fixture
def place(tmp_path: Path) -> Path:
    (tmp_path / "short.toml").write_text(SHORT)
    return tmp_path


def short_site(place: Path, monkeypatch: pytest.MonkeyPatch, speed: float = 1000.0) -> Any:
    return serving(page_settings(place, speed, place / "short.toml"), monkeypatch)


def test_a_screen_is_told_of_each_result_once(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told = list[int]()

    def note(news: dict[str, Any]) -> bool:
        told.extend(one["number"] for one in news.get("results", {"new": []})["new"])
        return bool(news["now"]["state"] == "ended")

    with short_site(place, monkeypatch) as site:
        client = site.client()
        with client.screen() as screen:
            assert client.post("/benches/1/begin", BEGIN).status == 200
            while not note(screen.bench(1, lambda _: True)):
                pass
    assert told == [1, 2]


def test_a_run_goes_on_without_a_screen_and_is_on_record(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with short_site(place, monkeypatch) as site:
        client = site.client()
        with client.screen():
            told = {**BEGIN, "operator": " Ada Fell ", "temperature_c": 0, "humidity_percent": 45.5}
            assert client.post("/benches/1/begin", told).status == 200
        with client.screen() as later:
            later.bench(1, lambda now: now["state"] == "ended")
        with client.screen() as reloaded:  # the view catches up
            news = reloaded.bench(1, lambda now: now["state"] == "ended")
        assert news["now"]["picture"]["verdict"] == "pass"
        assert [one["verdict"] for one in news["results"]["new"]] == ["pass", "pass"]
        run_id = news["now"]["run_id"]
        for query, found in (
            ("words=HF-017%20ada&verdict=pass", 1),
            ("words=HF-017&verdict=fail", 0),
            ("words=HF-018", 0),
        ):
            assert client.get(f"/records?{query}").json["found"] == found
        shown = client.get(f"/records/{run_id}").json
        assert (shown["verdict"], len(shown["results"])) == ("pass", 2)
        pdf = client.get(f"/records/{run_id}/certificate.pdf")
        assert pdf.text.startswith("%PDF-")
        html = client.get(f"/records/{run_id}/certificate.html")
        assert "sandbox" in html.headers["content-security-policy"]
    run = Records(str(place / "records"))[run_id]
    started = run.events[0]
    assert isinstance(started, RunStarted)
    assert (run.verdict, started.operator) == ("pass", "Ada Fell (unattended)")
    room = started.environment
    assert room is not None
    assert (room.temperature_c, room.humidity_percent) == (0.0, 45.5)
    assert site.errors == []


def test_any_screen_stops_and_one_commands(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with short_site(place, monkeypatch, speed=2.0) as site:
        one, other = site.client(), site.client()
        with one.screen() as first, other.screen() as second:
            assert one.post("/benches/1/begin", BEGIN).status == 200
            assert other.post("/benches/1/say", {"number": 1, "words": "done"}).status == 409
            assert other.post("/benches/1/begin", BEGIN).status == 409
            seen = second.bench(1, lambda now: now["picture"]["rf"]["state"] == "on")
            assert seen["now"]["holder"] == first.number != second.number
            assert site.rf_is_on(0)
            assert other.post("/benches/1/stop").json == {"stopping": True}
            one.post("/benches/1/stop")  # which is not what stopped it
            ended = first.bench(1, lambda now: now["state"] == "ended")["now"]
            assert not site.hardware[0].truth.rf_on
            pressed = f"STOP was pressed on screen {second.number}."
            assert pressed in str(ended["picture"]["notices"])
            assert ended["picture"]["rf"]["state"] == "off"
            resumed = {**BEGIN, "resume": ended["run_id"]}
            offered = one.get("/benches/1/procedures").json["unfinished"]
            assert [run["run_id"] for run in offered] == [ended["run_id"]]
            assert one.post("/benches/1/begin", {**resumed, "work": "calibrate"}).status == 200
            refused = first.bench(
                1, lambda now: now["error"] is not None and now["state"] == "ended"
            )
            assert "was begun with: as found; it is" in refused["now"]["error"]["happened"]
            for is_stopped in (True, False):
                assert one.post("/benches/1/begin", resumed).status == 200
                on = first.bench(1, lambda now: now["picture"]["rf"]["state"] == "on")
                assert (on["now"]["error"], on["now"]["run_id"]) == (None, ended["run_id"])
                assert site.rf_is_on(-1)
                if is_stopped:
                    assert one.post("/benches/1/stop").json == {"stopping": True}
                    first.bench(1, lambda now: now["state"] == "ended")
                    assert not site.hardware[-1].truth.rf_on
    assert not site.hardware[-1].truth.rf_on, "the server's end ends RF"
    faults = [e for e in Records(str(place / "records"))["last"].events if isinstance(e, Fault)]
    assert [(fault.error, fault.rf_state) for fault in faults] == [("Stopped", "off")] * 3
    assert pressed in faults[0].message
    assert faults[2].message.endswith("its end: the server of the page was ended.")


def test_rf_at_another_bench_says_nothing_of_this_one(
    place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with short_site(place, monkeypatch, speed=2.0) as site:
        client = site.client()
        with client.screen() as screen:
            assert client.post("/benches/1/begin", BEGIN).status == 200
            screen.bench(1, lambda now: now["picture"]["rf"]["state"] == "on")
            clock = site.hardware[0].clock
            assert isinstance(clock, PacedClock)
            clock.speed /= 100  # a busy machine must not come after the end of the run
            assert client.post("/benches/2/begin", BEGIN).status == 200  # for another model
            ended = screen.bench(2, lambda now: now["state"] == "ended")["now"]
            assert site.rf_is_on(0)
            clock.speed *= 100
            assert "Marlow 150" in ended["error"]["happened"]
            assert not ended["error"]["rf_unknown"]


def test_only_the_screen_in_command_is_obeyed(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with short_site(place, monkeypatch) as site:
        one, other = site.client(), site.client()
        orders = {
            "begin": BEGIN,
            "say": {"number": 1, "words": "done"},
            "press": {"key": "fine", "direction": "up"},
            "turn": {"control": "normal"},
        }
        with one.screen() as first, other.screen():
            for bench in (1, 3):
                assert one.post(f"/benches/{bench}/command", {"do": "take"}).status == 200
                for order, body in orders.items():
                    answer = other.post(f"/benches/{bench}/{order}", body)
                    assert answer.status == 409, order
                    commands = f"Screen {first.number} commands this bench."
                    assert answer.json["happened"] == commands, order
    assert site.hardware == []


def test_a_duplicated_tab_gets_a_key_of_its_own(shared: Site) -> None:
    client = shared.client()
    with client.screen() as first:
        key = client.key
        with client.screen() as second:
            assert client.key != key
            assert second.number != first.number
    client.key = key
    with client.screen() as again:
        assert (again.number, client.key) == (first.number, key), "a reload stays the same screen"


@pytest.mark.anyio
async def test_the_command_is_handed_over_or_taken_from_who_does_not_answer() -> None:
    clock = VirtualClock()
    clock.advance(100)
    screens = Screens(clock)
    one, two = [await screens.arriving("") for _ in range(2)]
    assert one is not None
    assert two is not None
    screens.drop_gone()
    assert [screen.number for screen in screens] == [1, 2], "they have only just come"
    lease = Lease(screens, clock)
    with screens.shown(one), screens.shown(two):
        lease.require(1)
        with pytest.raises(NotInCommand):
            lease.require(2)
        with pytest.raises(UsageError):
            lease.do("take", 2)
        lease.do("ask", 2)
        with pytest.raises(NotInCommand):
            lease.do("hand over", 2)
        with pytest.raises(UsageError):
            lease.do("take", 2)
        lease.do("hand over", 1)
        assert (lease.holder, lease.asker) == (2, None)
        lease.do("ask", 1)
        lease.do("keep", 2)
        clock.advance(TAKE_OVER_AFTER_S)
        with pytest.raises(UsageError):
            lease.do("take", 1)
        lease.do("ask", 1)
        clock.advance(TAKE_OVER_AFTER_S)
        lease.do("take", 1)
        assert lease.holder == 1
        clock.advance(GONE_AFTER_S + 1)
        screens.drop_gone()
        assert lease.holder == 1, "it is connected, however long"
    screens.drop_gone()
    assert lease.holder == 1, "it may be loading again"
    clock.advance(GONE_AFTER_S + 1)
    screens.drop_gone()
    assert lease.holder is None, "a screen that is gone commands nothing"


@pytest.mark.anyio
async def test_one_screen_at_a_time_asks_and_no_other_answers_for_the_holder() -> None:
    clock = VirtualClock()
    screens = Screens(clock)
    for _ in range(3):
        await screens.arriving("")
    lease = Lease(screens, clock)
    lease.do("take", 1)
    lease.do("ask", 2)
    clock.advance(TAKE_OVER_AFTER_S / 2)
    lease.do("ask", 2)  # again, which begins no new wait
    lease.do("ask", 3)
    assert (lease.asker, lease.take_over_in_s) == (2, TAKE_OVER_AFTER_S / 2)
    with pytest.raises(NotInCommand):
        lease.do("keep", 2)
    clock.advance(TAKE_OVER_AFTER_S / 2)
    with pytest.raises(UsageError):
        lease.do("take", 3)
    lease.do("leave", 1)
    assert (lease.holder, lease.asker) == (2, None), "who asked has it"
