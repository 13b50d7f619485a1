"""Single lines and words of the view of a run."""

from __future__ import annotations

from collections.abc import Iterator

from rich.text import Text

from ohmwright.api.reading_picture import BandPicture
from ohmwright.api.rf_words import RfPicture
from ohmwright.api.run_picture import STAGE_WORDS, CuePicture, RunPicture

# no colour by which generators tell their modes: the same as on the page (page.css)
LIVE = "bold #ffffff on #8e1b8e"
"""RF is on: a ground of its own, so that any terminal's ground does."""
COMING = "bold #8e1b8e on #f3d9f3"
"""RF is to come on or go off, or is not proved off."""
ALARM = "bold #ffffff on #a8071a"
"""RF may be on, and nobody knows."""
RF_WORDS = "bold magenta"
"""Words on RF without a ground, among lines that stay."""
_MARKS = {"on": "■", "off": "□", "coming on": "▲", "going off": "▼"}
_PLAIN_MARKS = {"on": "#", "off": "o", "coming on": "^", "going off": "v"}
_CUE_WORDS = {"hold": "HOLD", "notice": "LOOK", "done": "DONE", "rest": "REST"}


def rf_line(rf: RfPicture, *, blocks: bool) -> Text:
    """Return what is known of RF in one line: a mark, words, figures, and how old all that is."""
    mark = (_MARKS if blocks else _PLAIN_MARKS).get(rf.state, "?")
    text = Text.assemble((f" {mark} {rf.words} ", rf_style(rf)))
    if rf.age_s is not None:
        text.append(f"  {rf.age_s:.1f} s", style="bold")
    if rf.left_s is not None and rf.left_s > 0:
        left = f"{rf.left_s:.0f} s"
        text.append(f", release in {left}" if rf.by_foot else f", {left} left")
    if rf.rest_left_s is not None:
        text.append(f"  rest, {rf.rest_left_s:.0f} s to go")
    if rf.note:
        text.append("  ")
        text.append(rf.note, style=ALARM if rf.urgency == "alarm" else "bold")
    return text


def rf_style(rf: RfPicture) -> str:
    """Return the style of RF's state: a ground where RF is on, may be, or will be."""
    if rf.urgency == "alarm":
        return ALARM
    return {"on": LIVE, "off": "bold"}.get(rf.state, COMING)


def reading_words(picture: RunPicture) -> str:
    """Return the present reading with its unit; a stroke where there is none."""
    return _noted(f"{picture.reading or '-'} mA", picture)


def shown_unit(picture: RunPicture) -> str:
    """Return the unit of the reading that is shown large, and when a person typed it."""
    return _noted("mA", picture)


def _noted(words: str, picture: RunPicture) -> str:
    return f"{words}, {picture.reading_note}" if picture.reading_note else words


def band_words(band: BandPicture) -> tuple[str, ...]:
    """Return target, limits, and how the present reading stands to them; at most three lines."""
    low, target, high = band.figures
    if band.one_sided:
        lines = [f"at most {high} mA"]
    else:
        lines = [f"target  {target} mA", f"limits  {low} to {high}"]
    return (*lines, side_words(band))


def side_words(band: BandPicture) -> str:
    """Return where the present reading lies, in words: inside, too low or too high.

    While it moves that it does; nothing while that is not known.
    """
    if band.position is None or band.movement == "not known":
        return ""
    if band.movement != "settled":
        return band.movement
    if band.inside:
        return "inside the limits"
    return "TOO HIGH" if band.position > 0 else "TOO LOW"


def place_line(picture: RunPicture) -> Text:
    """Return stage, step, load and setting."""
    text = Text(picture.place, style="bold")
    if picture.mode is not None:
        setting = "" if picture.setting_w is None else f" {picture.setting_w:g} W"
        text.append(f"   {picture.mode}{setting}", style="")
    return text


def cue_large(cue: CuePicture) -> str:
    """Return the cue in as few words as can be shown large."""
    if cue.kind == "press" and cue.key:
        return f"{cue.key} {cue.direction} {cue.presses}".upper()
    return _CUE_WORDS.get(cue.kind, cue.kind.upper())


def progress_line(picture: RunPicture, width: int, *, blocks: bool) -> Text:
    """Return a bar of the points done, their number, and about how long the rest takes."""
    done, total = picture.points_done, picture.points_total
    words = f" {done} of {total} points"
    if picture.left_words:
        words += f", {picture.left_words}"
    bar = max(0, min(24, width - len(words)))
    filled = round(bar * done / total) if total else 0
    full, empty = ("━", "╌") if blocks else ("=", ".")
    return Text.assemble(full * filled, empty * (bar - filled), words)


def next_line(picture: RunPicture) -> Text:
    """Return what comes next."""
    return Text(f"next: {picture.comes_next}" if picture.comes_next else "")


def verdict_line(picture: RunPicture) -> Text:
    """Return how many points have which verdict."""
    counts = [f"{count} {verdict}" for verdict, count in picture.verdicts.items()]
    return Text("so far: " + ", ".join(counts) if counts else "")


def result_lines(picture: RunPicture, most: int) -> Iterator[Text]:
    """Yield the latest results, at most so many, the newest last."""
    for one in picture.results[-most:] if most > 0 else ():
        value = "" if one.value is None else f"{one.value:.4g} {one.unit}"
        where = f"{STAGE_WORDS[one.stage]}: {one.step}, {one.point}"
        yield Text(f"{one.verdict:<12} {value:>12}   {where}")
