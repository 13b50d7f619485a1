"""What the values of a run are, in words, and until what age of its activation each was read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ohmwright.engine.rests_on_record import Rest
from ohmwright.model.quantity import unit_of
from ohmwright.model.result import Result

from .text import decimals_of_uncertainty, fixed_decimals

METHOD = (
    "Start-up lag of unit and meter is taken off by a model fitted to the readings; droop stays "
    "in. The value is therefore not the reading shown at that age, and what was not watched until "
    "then, or until the lag was over, is extrapolated: what that leaves unsure is in U. Where RF "
    "had been on shortly before, the warmth left over is corrected for, and that is in U, too. "
    "How: ohmwright guide decisions."
)


def measurand_text(results: Iterable[Result]) -> str:
    """What is stated of an output, and how it comes from readings; empty where none was read."""
    read = (r for r in results if last_reading(r) is not None)  # a ratio or a time is no output
    ages = sorted({r.measured.age_s for r in read if r.measured})
    if not ages:
        return ""
    named = " or ".join(f"{age:g} s" for age in ages)
    return (
        f"A value read during an activation is the output as it would be at {named} after RF came "
        f"on, were the unit rested and the start-up lag over. {METHOD}"
    )


def read_until_s(result: Result) -> float | None:
    """The age of the activation, in s, at its last reading; None where there is none on record.

    To a millisecond, so that the last digits of a float make no age before the one stated.
    """
    until_s = max((sample.age_s for sample in result.samples), default=None)
    return None if until_s is None else round(until_s, 3)


def read_until_text(results: Iterable[Result]) -> str:
    """Until what age values were read, and where to they were extrapolated: one, or from which to.

    Empty where none was read.
    """
    read = [
        (until_s, one.measured.age_s)
        for one in results
        if one.measured is not None and (until_s := read_until_s(one)) is not None
    ]
    if not read:
        return ""
    first, last = (f"{f(until_s for until_s, _ in read):.1f}" for f in (min, max))
    beyond = [at_s for until_s, at_s in read if until_s < at_s]
    to = " or ".join(f"{at_s:g} s" for at_s in sorted(set(beyond)))
    some = "" if len(beyond) == len(read) else "in part "
    extrapolated = f", {some}extrapolated to {to}" if beyond else ""
    return f"read until {first if first == last else f'{first} to {last}'} s{extrapolated}"


def rest_text(rests: Iterable[Rest | None]) -> str:
    """How long RF was off before values, one or from which to, and the procedure's longest rest.

    Empty where none is on record. None among `rests`: RF had not been on before.
    """
    every = list(rests)
    known = [rest for rest in every if rest is not None]
    if not known:
        return ""
    first, last = (f"{f(rest.off_s for rest in known):.1f}" for f in (min, max))
    asked = sorted({rest.asked_s for rest in known if rest.asked_s is not None})
    of = f" (procedure: {' or '.join(f'{asked_s:g}' for asked_s in asked)} s)" if asked else ""
    some = "" if len(known) == len(every) else " where RF had been on before"
    return f"rested {first if first == last else f'{first} to {last}'} s{of}{some}"


def last_reading(result: Result) -> float | None:
    """The last reading on record, in the unit of the value; None for values not read as current."""
    if not result.samples:
        return None
    current_ma = result.samples[-1].current_ma
    match _quantity(result):
        case "current_ma":
            return current_ma
        case "power_w" if result.load_ohm:
            return (current_ma / 1000) ** 2 * result.load_ohm
    return None


def is_output(result: Result) -> bool:
    """Return whether its value is a current or a power; a ratio or a time is none."""
    return _quantity(result) in ("current_ma", "power_w")


def _quantity(result: Result) -> str | None:
    """Return the quantity of the value, in old records its target's; None without a value."""
    return None if result.measured is None else result.quantity


def far_reading_text(result: Result) -> str:
    """The last reading, where the value lies more than half its U from it; else empty."""
    read, measured = last_reading(result), result.measured
    if read is None or measured is None or measured.expanded is None:
        return ""
    if abs(measured.value - read) <= measured.expanded / 2:
        return ""
    return fixed_decimals(read, decimals_of_uncertainty(measured.expanded))


def extrapolated_lines(results: Iterable[Result]) -> Iterator[str]:
    """Yield a line for each step with values that hold at an age until which nobody read."""
    steps: dict[str, list[Result]] = {}
    for r in results:
        if r.measured is not None and (read_until_s(r) or r.measured.age_s) < r.measured.age_s:
            steps.setdefault(f"{r.stage.replace('_', ' ')}, {r.step}", []).append(r)
    for step, of_step in steps.items():
        far = [
            f"{r.point} {said} {unit_of(r.quantity or '').symbol}"
            for r in of_step
            if (said := far_reading_text(r))
        ]
        last = f"; last reading {', '.join(far)}" if far else ""
        yield f"{step}: {read_until_text(of_step)}{last}"
