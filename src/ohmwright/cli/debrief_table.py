"""What a practice came to, printed."""

from __future__ import annotations

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ohmwright.api.debrief import Debrief, Effort, SlipSeen
from ohmwright.api.run_pace import duration

from .console import out
from .table_format import plain_table, with_whole_words


def print_debrief(debrief: Debrief, by_port: Effort | None) -> None:
    """Print each slip beside what the coach said, and what it took beside others.

    `by_port`: the same unit with its trims moved by port; None where that was not computed.
    """
    for words in debrief.untrue:
        out().print(Text(words))
    out().print(Text(_summary(debrief)))
    for slip in debrief.slips:
        for line in _slip_lines(slip):
            out().print(line)
    for words in debrief.unfounded:
        out().print(Text(f"Said without a slip: {words}"))
    if debrief.standing:
        out().print(Text(f"Not yet made when it ended: {debrief.standing}."))
    if debrief.unasked:
        out().print(Text(f"Pressed before anything was asked for: {debrief.unasked}."))
    out().print(with_whole_words(_efforts(debrief, by_port)))


def _summary(debrief: Debrief) -> str:
    asked, slips = debrief.asked, len(debrief.slips)
    if asked == 0:
        return f"No presses were {'made as asked' if debrief.standing else 'asked for'}."
    if slips == 0:
        return f"Presses were asked for {_times(asked)}, and each time made as asked."
    return (
        f"Presses were asked for {_times(asked)}, {_times(slips)} made otherwise; "
        f"the coach noticed {debrief.noticed} of these."
    )


def _times(number: int) -> str:
    return "once" if number == 1 else f"{number} times"


def _slip_lines(slip: SlipSeen) -> tuple[Text, Padding]:
    """Return what was asked for and made, and below it what the coach said."""
    made = slip.kind if slip.done == "nothing" else f"{slip.kind} ({slip.done})"
    said = Padding(Text(slip_said(slip)), (0, 0, 0, 10))
    return Text(f"{slip.at_s:>6.0f} s  asked: {slip.asked}; made: {made}"), said


def slip_said(slip: SlipSeen) -> str:
    """Return whether a slip was noticed, when, and what was said."""
    if slip.said_after_s is None:
        return "Not noticed."
    if slip.otherwise:
        noticed = "Taken for another slip"
    else:
        noticed = "Noticed" if slip.noticed else "Not noticed; told"
    return f"{noticed} after {slip.said_after_s:.0f} s: {slip.said}"


def _efforts(debrief: Debrief, by_port: Effort | None) -> Table:
    table = plain_table("What it took", "", "Presses", "RF on", "At the bench")
    rows = {
        "you": debrief.you,
        "a practised person (simulated)": debrief.practised,
        "by port": by_port,
    }
    for who, effort in rows.items():
        if effort is not None:
            presses = "" if who == "by port" else str(effort.presses)
            table.add_row(who, presses, f"{effort.rf_on_s:.0f} s", duration(effort.bench_s))
    return table
