"""The RF state of a bench as one line of text, true at the time it is drawn."""

from __future__ import annotations

from rich.text import Text

from ohmwright.instruments.foot_switch import RELEASE
from ohmwright.model.bench_status import BenchStatus, TargetBand

CURRENT_VALID_S = 1.0
"""A reading older than this is not shown as the present current."""
_JUST_READ_S = 2.0
"""A state older than this is shown with its age."""


def status_line(moment: BenchStatus | None, now_s: float) -> Text:
    """Return the line for the status `moment` at the time `now_s`, at most 80 columns wide.

    `now_s`: seconds of the bench's clock, by which ages and remaining times are extrapolated. A
    current older than `CURRENT_VALID_S` is left out.
    """
    if moment is None:
        return Text("RF not read yet", style="bold yellow")
    past_s = max(0.0, now_s - moment.bench_s)
    match moment.rf:
        case "off":
            return _off(moment, past_s)
        case "coming on":
            return Text(
                "RF COMES ON WITH THE FOOT SWITCH"
                if moment.keyed_by_foot
                else "RF IS ABOUT TO COME ON",
                style="bold yellow",
            )
        case "going off":
            if moment.keyed_by_foot:
                return Text(f"{RELEASE} RF is not known to be off yet", style="bold white on red")
            return Text("RF IS GOING OFF, not read back yet", style="bold yellow")
        case "on":
            return _on(moment, past_s)
        case _:
            return Text(
                "RF STATE UNKNOWN: switch the generator off at its mains switch",
                style="bold white on red",
            )


def _off(moment: BenchStatus, past_s: float) -> Text:
    text = Text.assemble(("RF OFF", "bold green"))
    if moment.read_by_eye:
        text.append(" as told", style="green")
    if moment.rest_left_s is not None and past_s <= _JUST_READ_S:
        left_s = max(0.0, moment.rest_left_s - past_s)
        text.append(f"   resting, {left_s:.0f} s to go")
    elif past_s > _JUST_READ_S:
        text.append(f"{'' if moment.read_by_eye else ' when read'} {_ago(past_s)} ago")
    return text


def _on(moment: BenchStatus, past_s: float) -> Text:
    text = Text.assemble(("RF ON", "bold red"))
    if moment.keyed_by_foot and moment.left_s is not None and moment.left_s <= past_s:
        return text.append(f"   {RELEASE}", style="bold white on red")
    if moment.age_s is not None:
        text.append(f" {moment.age_s + past_s:5.1f} s", style="bold red")
    if moment.left_s is not None:
        left_s = moment.left_s - past_s
        if moment.keyed_by_foot:
            text.append(f", release in {left_s:.0f} s", style="bold")
        else:
            text.append(f", {left_s:.0f} s left" if left_s > 0 else ", its limit has run out")
    if moment.current_ma is not None and past_s <= CURRENT_VALID_S:
        text.append(
            f"  {moment.current_ma:7.1f} mA", style=_current_style(moment.current_ma, moment.aim)
        )
    else:
        text.append("  no new reading")
    if moment.aim is not None:
        lower, target, upper = (f"{value:.4g}" for value in moment.aim)
        text.append(f"  target {target} ({lower} to {upper})")
    return text


def _current_style(current_ma: float, aim: TargetBand | None) -> str:
    """Return bold green within the target band, bold yellow outside, bold without a band."""
    if aim is None:
        return "bold"
    return "bold green" if aim.lower_ma <= current_ma <= aim.upper_ma else "bold yellow"


def _ago(past_s: float) -> str:
    return f"{past_s:.0f} s" if past_s < 120 else f"{past_s / 60:.0f} min"
