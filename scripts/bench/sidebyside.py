"""Timing of two ways to do one thing, side by side in one process, by turns."""

import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True)
class Row:
    """One comparison: seconds per unit of work of ours and of the reference, and the bar."""

    name: str
    ours_s: float
    reference_s: float
    bar: float

    @property
    def ratio(self) -> float:
        """Ours over the reference; smaller is better."""
        return self.ours_s / self.reference_s


def compare(
    name: str,
    ours: Callable[[], object],
    reference: Callable[[], object],
    bar: float,
    rounds: int = 9,
    ours_units: int = 1,
    reference_units: int = 1,
) -> Row:
    """Medians of alternating runs, after one unmeasured run of each; units are points or calls."""
    ours()
    reference()
    seconds: tuple[list[float], list[float]] = ([], [])
    for _ in range(rounds):
        seconds[0].append(_seconds(ours) / ours_units)
        seconds[1].append(_seconds(reference) / reference_units)
    return Row(name, median(seconds[0]), median(seconds[1]), bar)


def repeated(action: Callable[[], object], times: int) -> Callable[[], object]:
    """The action so many times over, for work too short for the clock."""

    def run() -> None:
        for _ in range(times):
            action()

    return run


def report(rows: Sequence[Row], **extra: object) -> None:
    """One table and one JSON line on standard output."""
    print(f"{'':52} {'ours':>10} {'reference':>10} {'ratio':>8} {'bar':>6}")
    for row in rows:
        verdict = "" if row.ratio <= row.bar else "  MISSED"
        print(
            f"{row.name:52} {_readable(row.ours_s):>10} {_readable(row.reference_s):>10} "
            f"{row.ratio:8.4f} {row.bar:6g}{verdict}"
        )
    for name, value in extra.items():
        print(f"{name.replace('_', ' ')}: {value}")
    ratios = {row.name: round(row.ratio, 5) for row in rows}
    reference_s = {row.name: row.reference_s for row in rows}
    print(json.dumps({"ratios": ratios, "reference_s": reference_s} | extra))


def _seconds(action: Callable[[], object]) -> float:
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def _readable(seconds: float) -> str:
    for unit, scale in (("s", 1.0), ("ms", 1e-3), ("us", 1e-6)):
        if seconds >= scale:
            return f"{seconds / scale:.3g} {unit}"
    return f"{seconds * 1e9:.3g} ns"
