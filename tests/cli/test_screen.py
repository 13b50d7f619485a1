"""The view of a run at any size: nothing that matters is lost, and no colour is needed."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import pairwise

import pytest
from rich.text import Text

from ohmwright.api.reading_picture import BandPicture, band_picture
from ohmwright.api.run_picture import RunPicture, TrendPoint
from ohmwright.api.run_plan import PlannedPoint
from ohmwright.api.run_view import RunWatch
from ohmwright.cli.screen.fitting import Extent
from ohmwright.cli.screen.gauge import gauge, gauge_labels, sparkline, trend_columns
from ohmwright.cli.screen.layout import few_lines, screen
from ohmwright.cli.screen.letters import HEIGHT, dots, large, medium
from ohmwright.cli.screen.pieces import band_words
from ohmwright.instruments.answer_requests import TypeText
from ohmwright.model.bench_status import BenchStatus, TargetBand
from ohmwright.model.cue import Cue
from ohmwright.model.event import PointDone, RunResumed, StageStarted, StepStarted
from ohmwright.model.result import Result

NOW = {"at": datetime(2026, 1, 1, tzinfo=UTC), "bench_s": 0.0}
AIM = TargetBand(886.0, 900.0, 914.0)
ON = BenchStatus("on", 100.0, age_s=3.0, left_s=12.0, current_ma=842.1, aim=AIM)
CUE = Cue("press", "Press coarse up 2 times.", "coarse", "up", 2, "One press was seen.")
SIZES = [(79, 23), (119, 39), (59, 19), (40, 10), (199, 59), (20, 6)]
"""Of a terminal, its last column and row stay free."""


def pictured(moment: BenchStatus, now_s: float) -> RunPicture:
    plan = [PlannedPoint("adjust", "p1", "cut current", "adjust", 40.0, load_ohm=100.0)]
    plan += [PlannedPoint("as_left", "curve", f"{i} ohm", "power_curve", 30.0) for i in range(40)]
    watch = RunWatch(plan)
    watch.on_event(RunResumed(**NOW, operator="Ada Fell", done=0))
    for i in range(40):
        result = Result(
            stage="as_found", step="curve", point=f"{i} ohm", kind="output", verdict="pass"
        )
        watch.on_event(PointDone(**NOW, result=result))
    watch.on_event(StageStarted(**NOW, stage="adjust"))
    watch.on_event(StepStarted(**NOW, stage="adjust", step="p1"))
    for i in range(50):
        watch.on_status(ON._replace(bench_s=50.0 + i))
    watch.on_status(moment)
    return watch.picture(now_s)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("blocks", [True, False])
def test_it_fits_any_terminal_and_says_in_words_what_matters(
    size: tuple[int, int], *, blocks: bool
) -> None:
    for moment, now_s, said in (
        (ON, 100.2, ["RF ON", "3.2 s, 12 s left", "842.1"]),
        (ON._replace(age_s=60.0, current_ma=842.3), 100.2, ["TOO LOW"]),
        (ON._replace(age_s=60.0, current_ma=899.0), 100.2, ["rising"]),
        (ON._replace(cue=CUE), 100.2, [CUE.words, "RF ON"]),
        (BenchStatus("off", 100.0, rest_left_s=14.0), 100.2, ["RF OFF", "rest, 14 s to go"]),
        (BenchStatus("off", 100.0), 160.0, ["RF OFF", "last read 60 s ago"]),
        (BenchStatus("unknown", 100.0), 100.0, ["RF STATE UNKNOWN"]),
    ):
        lines = [line.plain for line in screen(pictured(moment, now_s), Extent(*size, blocks), "q")]
        assert len(lines) <= size[1]
        assert max(map(len, lines)) <= size[0]
        text = "\n".join(lines)
        if size[0] >= 40:
            shown_large = size >= (59, 19) and said[-1] == "842.1"
            assert [
                words for words in said[: -1 if shown_large else None] if words not in text
            ] == []
            assert "0 of 41 points, longer than foreseen" in text
            assert text.rstrip().endswith("q")
        if size >= (59, 19) and moment.cue is not None:
            assert CUE.seen in text
        if not blocks:
            assert text.isascii()


def test_a_terminal_of_a_few_lines_shows_rf_and_the_reading_first() -> None:
    size = Extent(19, 4)
    lines = [line.plain for line in screen(pictured(ON, 100.2), size, "q")]
    assert ("RF ON" in lines[0], lines[1].startswith("842.1 mA"), len(lines)) == (True, True, 4)
    watch = RunWatch([])
    watch.open_request(LONG_REQUEST, "", by_foot=False)
    watch.on_status(ON)
    lines = [line.plain for line in screen(watch.picture(100.2), size, "q")]
    assert ("RF ON" in lines[0], lines[1].startswith(">> Look"), len(lines)) == (True, True, 4)


def test_where_a_typed_reading_stands_is_not_cut_off() -> None:
    """With longer limits it ended in "inside the l…" at 80 columns."""
    typed = pictured(ON._replace(read_by_eye=True), 112.0)
    assert few_lines(typed, Extent(64, 4))[2].plain == "842.1 mA, typed 12 s ago   TOO LOW"


def test_a_line_that_is_cut_says_so() -> None:
    lines = [line.plain for line in screen(pictured(ON, 100.2), Extent(60, 20), "q" * 90)]
    assert lines[-1].endswith("q…")
    lines = [line.plain for line in screen(pictured(ON, 100.2), Extent(60, 20, False), "q" * 90)]
    assert lines[-1].endswith("qq")


def test_what_was_seen_is_said_once() -> None:
    twice = CUE._replace(words=f"{CUE.seen} {CUE.words}")
    lines = screen(pictured(ON._replace(cue=twice), 100.2), Extent(79, 23), "q")
    text = "\n".join(line.plain for line in lines)
    assert (text.count(CUE.seen), CUE.words in text) == (1, True)


def test_a_typed_reading_is_shown_with_its_age() -> None:
    picture = pictured(ON._replace(read_by_eye=True), 104.0)
    for size in SIZES:
        view = "\n".join(line.plain for line in screen(picture, Extent(*size), ""))
        assert "mA, typed 4 s" in view, view
    large = screen(picture, Extent(119, 39), "")
    assert any(line.plain.count("█") > 5 for line in large)


def test_who_is_to_type_is_told_to_hold_before_the_first_reading() -> None:
    moment = ON._replace(current_ma=None, read_by_eye=True, keyed_by_foot=True)
    for room in (Extent(80, 24), Extent(60, 24), Extent(48, 10)):
        lines = [line.plain for line in screen(pictured(moment, 101.0), room, "Ctrl-C stops.")]
        assert any("hold: reading asked for soon" in line for line in lines)


def test_parts_keep_their_places_while_rf_goes_on_and_off() -> None:
    """A view that jumps cannot be read from across the room."""

    def heights() -> Iterator[tuple[int, int]]:
        for moment in (ON, BenchStatus("off", 100.0, rest_left_s=5.0), BenchStatus("off", 100.0)):
            lines = [
                line.plain for line in screen(pictured(moment, 100.0), Extent(79, 23), "stops")
            ]
            rf = next(i for i, line in enumerate(lines) if "RF O" in line)
            yield rf, next(i for i, line in enumerate(lines) if "41 points" in line)

    assert len(set(heights())) == 1


def test_the_mark_stands_where_the_reading_is() -> None:
    def mark(current_ma: float, band: TargetBand = AIM) -> str:
        return gauge(band_picture(band, current_ma), 41, blocks=True)

    assert mark(900.0)[20] == "█"
    assert (mark(886.0)[10], mark(914.0)[30]) == ("█", "█")
    places = [mark(float(ma)).index("█") for ma in range(873, 928)]
    assert all(a <= b for a, b in pairwise(places))
    assert mark(800.0).startswith("◀◀◀")
    assert mark(999.0).endswith("▶▶▶")
    assert "█" not in gauge(band_picture(AIM, None), 41, blocks=True)
    assert gauge_labels(band_picture(AIM, None), 41).split() == ["886", "900", "914"]
    narrow = band_picture(TargetBand(886.04, 900.0, 913.96), None)
    assert gauge_labels(narrow, 41).split() == ["886.1", "900.0", "913.9"]
    assert "limits  886.1 to 913.9" in band_words(narrow)
    assert band_words(band_picture(AIM, 899.0))[-1] == "inside the limits"
    assert json.loads(narrow.model_dump_json())["figures"] == ["886.1", "900.0", "913.9"]
    limit = TargetBand(-150.0, 150.0, 150.0)
    assert mark(75.0, limit)[10] == "█"
    assert mark(75.0, limit)[20] == "]"
    wide = BandPicture(lower_ma=886, target_ma=900, upper_ma=928, position=1.0)
    assert gauge(wide, 41, blocks=True)[30] == "█"


def test_a_trend_rises_where_the_readings_do_and_has_gaps_where_rf_was_off() -> None:
    points = [
        TrendPoint(bench_s=float(s), current_ma=800.0 + s) for s in (*range(20), *range(40, 60))
    ]
    columns = trend_columns(points, 60.0, 60.0, 60)
    assert columns[20:40] == [None] * 20
    top, bottom = sparkline(columns, (800.0, 860.0), 2, blocks=True)
    assert bottom[20:40].strip() == ""
    assert bottom[0] == "▁"
    assert top[59] == "█"
    steps = [" ▁▂▃▄▅▆▇█".index(each) for each in bottom[:20]]
    assert steps == sorted(steps)


def test_letters_differ_and_have_their_height() -> None:
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
    assert len({tuple(dots(letter)) for letter in letters}) == len(letters)
    assert len(large("888.8", blocks=True)) == HEIGHT
    assert len(medium("COARSE UP 12")) == 3
    assert max(map(len, medium("COARSE DOWN 12"))) < 79
    assert max(map(len, large("899.9", blocks=True))) <= 50


LONG_REQUEST = TypeText(
    "Look at the cord of the neutral electrode over its whole length: is its insulation whole, "
    "is its plug without cracks, and is its number the one on the card LAST-WORDS?"
)


@pytest.mark.parametrize("size", [(79, 23), (119, 39), (40, 14)])
def test_what_a_person_must_read_to_act_is_never_cut(size: tuple[int, int]) -> None:
    watch = RunWatch([])
    watch.open_request(
        LONG_REQUEST, "What was said is no answer: " + "it is " * 12 + "TOO LONG.", by_foot=False
    )
    watch.on_status(ON)
    panel = [Text("keys of the unit"), Text("unit: pressed")]
    lines = [line.plain for line in screen(watch.picture(100.2), Extent(*size), "q", panel)]
    text = " ".join(" ".join(lines).split())
    assert len(lines) <= size[1]
    for words in (LONG_REQUEST.text, "TOO LONG.", "RF ON", "keys of the unit"):
        assert words in text
    cue = CUE._replace(words=f"{CUE.words} {'Press it firmly. ' * 4}It clicks.")
    watch = RunWatch([])
    watch.on_status(ON._replace(cue=cue))
    lines = [line.plain for line in screen(watch.picture(100.2), Extent(*size), "q", panel)]
    assert cue.words in " ".join(" ".join(lines).split())
