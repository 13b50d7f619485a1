"""Which parts of the view a terminal has room for, from one of a few lines to a whole screen.

Each part keeps its place while a run goes on, so that nothing jumps: a part without content is as
many empty lines.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import zip_longest
from textwrap import wrap

from rich.text import Text

from ohmwright.api.run_picture import AnswerPicture, CuePicture, RunPicture
from ohmwright.api.run_view import TREND_S

from .fitting import Extent, cut, fitted, has_words, paragraph, two_ended
from .gauge import gauge, gauge_labels, sparkline, trend_columns, trend_scale
from .letters import HEIGHT, columns, large, medium
from .pieces import (
    band_words,
    cue_large,
    next_line,
    place_line,
    progress_line,
    reading_words,
    result_lines,
    rf_line,
    shown_unit,
    side_words,
    verdict_line,
)

_GAUGE_COLUMNS = 60
"""Columns of gauge and trend at most."""
_TREND_LABEL = 14
"""Columns that the label of the trend takes beside it."""
_WIDEST = 100
"""Columns that are used at most, so that what belongs together stays so."""
_LARGE_FROM = (76, 20)
"""Columns and rows from which on the reading is shown in large digits."""
_MEDIUM_FROM = (50, 14)
_BESIDE = 26
"""Columns that target and limits take beside the reading."""


def screen(picture: RunPicture, room: Extent, hint: str, panel: Sequence[Text] = ()) -> list[Text]:
    """Return the view of a run, at most `room.rows` lines; `hint`: how it is stopped.

    `panel`: lines that are shown below all that is told of the run.
    """
    room = replace(room, columns=min(room.columns, _WIDEST))
    progress = progress_line(picture, room.columns, blocks=room.blocks)
    if not room.holds(_MEDIUM_FROM):
        to_do = _request(picture, room) or _cue_words(picture, room, lines=1)
        foot = [*filter(has_words, to_do), *panel, progress, Text(hint)]
        lines = few_lines(picture, room)
        if len(lines) + len(foot) > room.rows:  # the last ones are cut, and RF is none of them
            place, rf, reading, gauge_line = lines
            lines = [rf, reading, place, gauge_line]
        return fitted(lines, foot[: max(0, room.rows - 1)], room)
    head = [
        Text(f"{picture.unit}   {picture.procedure}" if picture.unit else "", style="dim"),
        two_ended(place_line(picture), next_line(picture), room.columns),
        Text(),
        rf_line(picture.rf, blocks=room.blocks),
        Text(),
    ]
    foot = [*panel, progress, _foot_line(picture, hint, room)]
    body = [*head, *_reading(picture, room), *_gauge(picture, room)]
    cue = _request(picture, room) or list(_cue(picture, room))
    left = room.rows - len(body) - len(cue) - len(foot)
    if left < 0:  # what is to be done now is never cut: it takes the place of what is above it
        return fitted(body, [*cue, *foot], room)
    trend = list(_trend(picture, room, rows=1 if left < 6 else 2 if left < 14 else 4))
    results = _results(picture, left - len(trend))
    return fitted([*body, *trend, *cue, *results], foot, room)


def few_lines(picture: RunPicture, room: Extent) -> list[Text]:
    """Return the view in four lines: place, RF, reading with its limits, gauge."""
    band = picture.band
    reading = Text(reading_words(picture), style="bold") if picture.rf.state == "on" else Text()
    gauge_line = Text()
    if band is not None and picture.rf.state == "on":
        reading.append("   " + "   ".join(band_words(band)), style="")
        if len(reading) > room.columns:  # where it stands is never what is cut
            reading = Text.assemble((reading_words(picture), "bold"), "   ", side_words(band))
        gauge_line = Text(gauge(band, min(_GAUGE_COLUMNS, room.columns), blocks=room.blocks))
    lines = [place_line(picture), rf_line(picture.rf, blocks=room.blocks), reading, gauge_line]
    return [cut(line, room) for line in lines]


def _reading(picture: RunPicture, room: Extent) -> Iterator[Text]:
    """Yield the reading, or the rest that is left, in letters as large as there is room for."""
    words, unit = _large_words(picture)
    rows = HEIGHT if room.holds(_LARGE_FROM) else 3
    letters = _letters(words, room.columns - _BESIDE - len(unit) - 2, rows, blocks=room.blocks)
    beside = [] if picture.band is None else [*band_words(picture.band)]
    width = room.columns - _BESIDE
    letters[-1] += f" {unit}"
    letters += [""] * (rows - len(letters))
    for line, text in zip_longest(letters, beside[:rows], fillvalue=""):
        style = "bold" if text.isupper() else ""
        yield Text.assemble(line.ljust(width), (text, style))
    yield Text()


def _large_words(picture: RunPicture) -> tuple[str, str]:
    """Return what is shown large, and its unit."""
    if picture.reading:
        return picture.reading, shown_unit(picture)
    if picture.rf.rest_left_s is not None:
        return f"REST {picture.rf.rest_left_s:.0f}", "s"
    return ("-", picture.reading_note or "no new reading") if picture.rf.state == "on" else ("", "")


def _letters(words: str, width: int, rows: int, *, blocks: bool) -> list[str]:
    """Return `words` in the largest letters of at most `rows` lines that `width` holds."""
    forms = [large(words, blocks=blocks)] if rows >= HEIGHT else []
    forms += [medium(words)] if blocks else []
    return next((form for form in forms if columns(form) <= width), ["", words])


def _gauge(picture: RunPicture, room: Extent) -> Iterator[Text]:
    """Yield the gauge and its labels; two empty lines without limits."""
    width = min(_GAUGE_COLUMNS, room.columns - 2)
    if picture.band is None:
        yield from (Text(), Text())
        return
    yield Text(gauge(picture.band, width, blocks=room.blocks))
    yield Text(gauge_labels(picture.band, width))


def _trend(picture: RunPicture, room: Extent, rows: int) -> Iterator[Text]:
    """Yield the readings of the last minute."""
    width = min(_GAUGE_COLUMNS, room.columns - 2 - _TREND_LABEL)
    values = trend_columns(picture.trend, picture.now_s, TREND_S, width)
    scale = trend_scale(values, picture.band)
    lines = sparkline(values, scale, rows, blocks=room.blocks)
    for i, line in enumerate(lines):
        label = "last minute" if picture.trend and i == len(lines) - 1 else ""
        yield Text.assemble(line.ljust(width), "  ", (label, "dim"))


def _cue(picture: RunPicture, room: Extent) -> Iterator[Text]:
    """Yield the cue in large letters, in words, and what was seen of the presses before."""
    cue = picture.cue
    if cue is None:
        return
    yield Text()
    for line in _letters(cue_large(cue), room.columns, 3, blocks=room.blocks):
        yield Text(line, style="bold")
    seen = "" if cue.kind == "notice" else cue.seen  # what a notice says begins with what was seen
    words = cue.words if seen == "" else cue.words.replace(seen, "").strip()
    yield from paragraph(words, room, _cue_style(cue), lines=2 if seen == "" else 1)
    yield from paragraph(seen, room, "", lines=2)


def _cue_words(picture: RunPicture, room: Extent, *, lines: int) -> list[Text]:
    """Return the words of the cue in at least so many lines; none without a cue."""
    cue = picture.cue
    if cue is None:
        return []
    return paragraph(cue.words, room, _cue_style(cue), lines=lines)


def _cue_style(cue: CuePicture) -> str:
    return "bold reverse" if cue.kind == "notice" else "bold"


def _request(picture: RunPicture, room: Extent) -> list[Text]:
    """Return the request that waits for its answer in this view, and how it is answered."""
    request = picture.request
    if request is None:
        return []
    how = request.how_to_answer or ", ".join(map(_answer_words, request.answers))
    if len(request.answers) == 1:
        how += ", or Enter"
    # where there is less room, the line of RF above says what is on
    rf_words = request.rf_words if room.holds(_LARGE_FROM) else ""
    said = f">> {request.text}  {rf_words}".rstrip()
    asked = wrap(said, room.columns, subsequent_indent="   ")
    return [
        Text(),
        *(Text(line, style="bold reverse") for line in asked),
        *paragraph(request.problem, room, "bold", lines=1),
        *map(Text, wrap(how, room.columns, initial_indent="   ", subsequent_indent="   ")),
    ]


def _answer_words(answer: AnswerPicture) -> str:
    said = answer.meaning or answer.word
    return (
        answer.word
        if answer.key == "" and said == answer.word
        else f"{answer.key or answer.word}: {said}"
    )


def _results(picture: RunPicture, rows: int) -> Iterator[Text]:
    """Yield the verdicts so far and the latest results in `rows` lines."""
    if rows < 2:
        yield from [Text()] * max(0, rows)
        return
    lines = [verdict_line(picture), *result_lines(picture, min(rows - 3, 12))]
    yield Text()
    yield from lines[: rows - 1]
    yield from [Text()] * (min(rows, 14) - 1 - len(lines))


def _foot_line(picture: RunPicture, hint: str, room: Extent) -> Text:
    latest = Text(picture.notices[-1].words if picture.notices else "")
    return two_ended(Text(hint, style="dim"), latest, room.columns)
