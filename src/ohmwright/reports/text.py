"""Text and figures as a certificate prints them: no hidden characters, nothing dropped."""

from __future__ import annotations

import unicodedata
from datetime import UTC, datetime
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from math import floor, log10
from typing import NamedTuple

from ohmwright.model import quantity as quantities
from ohmwright.model.result import Conformity, Measured
from ohmwright.model.seen_text import character_code
from ohmwright.model.tolerance import Target

NOT_RECORDED = "not recorded"
_SPACES = frozenset("\t\n\v\f\r\x85\u2028\u2029")
# letters of several scripts need these two to join as they should
_JOINERS = frozenset("\u200c\u200d")


def printable(text: str) -> str:
    """`text` as one line, without control characters and others that act unseen.

    Line breaks and tabs become spaces. Control characters, overrides of the writing direction,
    private and unassigned characters become their code, as in ‹U+202E›. Empty text becomes
    `not recorded`.
    """
    return "".join(_printable(char) for char in text).strip() or NOT_RECORDED


def minute_text(at: datetime) -> str:
    """A time to the minute, in UTC."""
    return f"{at.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def _printable(char: str) -> str:
    """One character in printable form."""
    if char in _SPACES:
        return " "
    hidden = unicodedata.category(char) in ("Cc", "Cf", "Cs", "Co", "Cn")
    return character_code(char) if hidden and char not in _JOINERS else char


def fixed_decimals(value: float, places: int) -> str:
    """A figure with `places` decimals and a typographic minus sign; none before a zero."""
    return f"{value:z.{places}f}".replace("-", "−")


def decimals_of_uncertainty(uncertainty: float | None) -> int:
    """The decimals that show an uncertainty to two digits (GUM 7.2.6), or all before the point.

    1 where there is none.
    """
    if uncertainty is None or uncertainty <= 0:
        return 1
    return max(0, 1 - floor(log10(float(f"{uncertainty:.1e}"))))


def value_and_uncertainty(measured: Measured) -> tuple[str, str]:
    """Value and expanded uncertainty to the same decimals; the latter empty where unknown."""
    expanded, places = measured.expanded, decimals_of_uncertainty(measured.expanded)
    shown = "" if expanded is None else fixed_decimals(expanded, places)
    return fixed_decimals(measured.value, places), shown


def counted(count: int, noun: str) -> str:
    """A number of things, as in `1 unit` and `2 units`."""
    return f"{count} {noun}{'' if count == 1 else 's'}"


def limits_text(target: Target) -> str:
    """The limits of a tolerance, as in `76.00 to 84.00`, each rounded to the inside."""
    if target.lower_only:
        return f"≥ {lower_figure(target.lower, target)}"
    if target.one_sided:
        return f"≤ {upper_figure(target.upper, target)}"
    return f"{lower_figure(target.lower, target)} to {upper_figure(target.upper, target)}"


class LimitFigures(NamedTuple):
    """Limits and target for a screen or a chart: no zeros at the end, and no unit."""

    lower: str
    target: str
    upper: str


def limit_figures(target: Target) -> LimitFigures:
    """The limits, each rounded to the inside, and the target, to the same decimals."""
    return LimitFigures(
        _without_zeros(lower_figure(target.lower, target)),
        _without_zeros(four_digits(target.value, target)),
        _without_zeros(upper_figure(target.upper, target)),
    )


def limits_words(target: Target) -> str:
    """The limits for a screen: in ASCII letters, without zeros at the end, and with the unit."""
    low = _without_zeros(lower_figure(target.lower, target))
    if target.lower_only:
        return f"at least {low} {target.unit}".rstrip()
    high = _without_zeros(upper_figure(target.upper, target))
    return f"{'at most' if target.one_sided else f'{low} to'} {high} {target.unit}".rstrip()


def _without_zeros(figure: str) -> str:
    return figure.rstrip("0").rstrip(".") if "." in figure else figure


def four_digits(value: float, target: Target) -> str:
    """A figure to the decimals that show the target's upper limit to four digits.

    Where there is none, the lower one.
    """
    return fixed_decimals(value, _decimals(target))


def lower_figure(value: float, target: Target) -> str:
    """A lower limit to the same decimals, never below what it is."""
    return _rounded(value, target, ROUND_CEILING)


def upper_figure(value: float, target: Target) -> str:
    """An upper limit to the same decimals, never above what it is."""
    return _rounded(value, target, ROUND_FLOOR)


def _rounded(value: float, target: Target, rounding: str) -> str:
    # to 12 digits first: what a sum of floats is off by must not move a limit by a whole digit
    exact = Decimal(f"{value:.12g}")
    places = _decimals(target)
    inside = exact.quantize(Decimal(1).scaleb(-places), rounding=rounding)
    return fixed_decimals(float(inside), places)


def _decimals(target: Target) -> int:
    limit = target.lower if target.lower_only else target.upper
    return min(6, max(0, 3 - floor(log10(limit))))


def unit_symbol(target: Target | None, measured: Measured | None) -> str:
    """Symbol of the unit of a result."""
    quantity = target.quantity if target is not None else measured and measured.quantity
    return "" if not quantity else quantities.unit_of(quantity).symbol.replace("ohm", "Ω")


def probability_text(held: Conformity) -> str:
    """Probability of conformity in percent; never rounded to 0 or 100."""
    return percent_text(held.probability)


def percent_text(share: float) -> str:
    """A probability from 0 to 1 in percent, without the sign; never rounded to 0 or 100."""
    value = 100 * share
    if value > 99.9:
        return "> 99.9"
    return "< 0.1" if value < 0.1 else f"{value:.1f}"


def uncertainty_ratio_text(held: Conformity) -> str:
    """Test uncertainty ratio, never rounded up: it is held against 4; empty where there is none."""
    value = held.uncertainty_ratio
    if value is None:
        return ""
    return f"{floor(value)}" if value >= 10 else f"{floor(10 * value) / 10:.1f}"
