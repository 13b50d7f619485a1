"""A rehearsed unit against `calibrate` of the same unit, and two workers against one.

    python scripts/bench/rehearse.py [--units 6] [--worker-units 24]

`calibrate` is the whole command without the start of Python: bench file read, run in virtual time,
recorded, printed. Both do the job of the same seeds by turns in this process; the time is that of
the processor (core-seconds), which other programs disturb less than wall time. `in estimators` is
the share of a rehearsed unit spent in fitting and deciding, which no rehearsal may leave out.
Workers are timed from the first outcome to the last, for they import what they need first; their
ratio says something only on a machine that does nothing else. Prints one table and a JSON line.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from statistics import median
from typing import Any

from ohmwright.adjustment import policy
from ohmwright.cli import console
from ohmwright.cli.main import main as command_line
from ohmwright.engine import stop_rules
from ohmwright.model.shipped import shipped
from ohmwright.rehearsal.from_files import rehearsed_files
from ohmwright.rehearsal.outcome import UnitOutcome
from ohmwright.rehearsal.population import unit_seed
from ohmwright.rehearsal.rehearse import Sharing, rehearse_units
from ohmwright.rehearsal.unit_run import Rehearsed

PROCEDURE = shipped("procedures", "demo-monopolar.toml")
BENCH = shipped("benches", "demo.toml")
_BAR, _WORKERS_BAR = 0.25, 1.8


def core_seconds(work: Callable[[], object]) -> float:
    """Processor time of this process, in s."""
    start = time.process_time()
    work()
    return time.process_time() - start


def calibrate(seed: int, folder: Path) -> None:
    """Run the command on the unit of `seed`; its own output is dropped."""
    bench = folder / f"{seed}.toml"
    text = BENCH.read_text(encoding="utf-8").replace("seed = 3", f"seed = {seed}")
    bench.write_text(text, encoding="utf-8")
    words = ["ohmwright", "calibrate", str(PROCEDURE), "--bench", str(bench)]
    console.out.cache_clear()
    console.err.cache_clear()
    dropped = io.StringIO()
    with contextlib.redirect_stdout(dropped), contextlib.redirect_stderr(dropped):
        sys.argv = [*words, "--unattended", "--records", str(folder / "records")]
        with contextlib.suppress(SystemExit):
            command_line()
    assert "Result:" in dropped.getvalue(), dropped.getvalue()


@contextlib.contextmanager
def timed_estimators() -> Iterator[list[float]]:
    """Collect the processor time that is spent where readings are judged."""
    spent: list[float] = []
    depth = [0]

    def timed(method: Callable[..., Any]) -> Callable[..., Any]:
        def wrapper(*given: Any, **named: Any) -> Any:
            start = time.process_time()
            depth[0] += 1
            try:
                return method(*given, **named)
            finally:
                depth[0] -= 1
                if depth[0] == 0:
                    spent.append(time.process_time() - start)

        return wrapper

    places: list[tuple[Any, str]] = [
        *((stop_rules.UntilDecided, name) for name in ("read", "settled")),
        *((stop_rules.UntilSettled, name) for name in ("read", "settled")),
        *((policy.AdjustPolicy, name) for name in ("read", "next_action", "released")),
    ]
    before = [getattr(owner, name) for owner, name in places]
    for (owner, name), method in zip(places, before, strict=True):
        setattr(owner, name, timed(method))
    try:
        yield spent
    finally:
        for (owner, name), method in zip(places, before, strict=True):
            setattr(owner, name, method)


def per_unit(units: int) -> dict[str, float]:
    """Core-seconds a unit of command and rehearsal by turns, and the estimators' share."""
    (rehearsed,) = rehearsed_files([PROCEDURE], BENCH, seed=1, unattended=True)
    rehearsed.run_unit(units)  # imports and caches
    rehearsing, calibrating, estimating = [], [], []
    with tempfile.TemporaryDirectory() as folder:
        calibrate(unit_seed(1, units), Path(folder))
        for unit in range(units):
            rehearsing.append(core_seconds(partial(rehearsed.run_unit, unit)))
            seed = unit_seed(1, unit)
            calibrating.append(core_seconds(partial(calibrate, seed, Path(folder))))
            with timed_estimators() as spent:
                whole_s = core_seconds(partial(rehearsed.run_unit, unit))
            estimating.append(sum(spent) / whole_s)
    pairs = zip(rehearsing, calibrating, strict=True)
    return {
        "rehearse_s": median(rehearsing),
        "calibrate_s": median(calibrating),
        "ratio": median(a / b for a, b in pairs),
        "in_estimators": median(estimating),
    }


def units_per_s(rehearsed: Rehearsed, units: int, workers: int) -> float:
    """Units per second of wall time, from the first outcome to the last."""
    came: list[float] = []

    def note(_: UnitOutcome) -> None:
        came.append(time.perf_counter())

    rehearse_units((rehearsed,), units, Sharing(workers), note)
    return (len(came) - 1) / (came[-1] - came[0])


def main() -> None:
    """Print the table and the JSON line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--units", type=int, default=6)
    parser.add_argument("--worker-units", type=int, default=24)
    options = parser.parse_args()
    figures = per_unit(options.units)
    (rehearsed,) = rehearsed_files([PROCEDURE], BENCH, seed=1, unattended=True)
    one, two = (units_per_s(rehearsed, options.worker_units, n) for n in (1, 2))
    figures |= {"one_worker_per_s": one, "two_workers_per_s": two, "workers_ratio": two / one}
    figures["thousand_s"] = 1000 / two
    for name, value, bar in (
        ("calibrate, core-seconds a unit", figures["calibrate_s"], ""),
        ("rehearse, core-seconds a unit", figures["rehearse_s"], ""),
        ("ratio", figures["ratio"], f"bar: at most {_BAR}"),
        ("part of rehearse in estimators", figures["in_estimators"], ""),
        ("two workers ÷ one, units per s", figures["workers_ratio"], f"at least {_WORKERS_BAR}"),
        ("1,000 units by two workers, s", figures["thousand_s"], ""),
    ):
        print(f"{name:40} {value:10.3f}  {bar}")
    print(json.dumps({"bench": "rehearse", **figures}))


if __name__ == "__main__":
    main()
