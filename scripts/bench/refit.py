"""Time of a refit of the transient at a given number of samples, warm, against plain numpy.

    python scripts/bench/refit.py [--samples 300]

It is the mean over five readings in a row, as a meter of ten readings a second gives them: one of
their refits looks for the delay of moves, too, and its time is told apart. The prior is that of the
activation, as in a job. The reference is one least-squares solution of the same design by
`numpy.linalg.lstsq`.
"""

from __future__ import annotations

import argparse
import json
import os
import timeit
from collections.abc import Callable
from functools import partial
from statistics import fmean
from time import process_time

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import numpy as np  # noqa: E402

from ohmwright.estimation.activation_record import ActivationRecord  # noqa: E402
from ohmwright.estimation.coefficients import Steps, window_mean_response  # noqa: E402
from ohmwright.estimation.prior import NoisePrior, vague_prior  # noqa: E402
from ohmwright.estimation.transient_estimate import fit_transient  # noqa: E402

_BAR_MS = 1.0
_ROW = 5
"""Readings in a row: half a second of ten readings a second."""


def main() -> None:
    """Print the times as a line and as JSON."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--samples", type=int, default=300)
    n = parser.parse_args().samples
    records = [_record(n - _ROW + 1 + each) for each in range(_ROW)]
    prior, noise = vague_prior(), NoisePrior()
    start = fit_transient(records[0], prior, noise, None)
    if start is None:
        raise SystemExit("The made-up transient was not recognised.")

    def refit_ms(record: ActivationRecord, departures: bool) -> float:
        fit = partial(fit_transient, record, prior, noise, start.start, departures=departures)
        return _milliseconds(fit)

    design = np.random.default_rng(0).normal(size=(n, 8))
    plain = _milliseconds(lambda: np.linalg.lstsq(design, records[-1].relative, rcond=None))
    calm, hunting = ([refit_ms(each, h) for each in records] for h in (False, True))
    figures = {
        "refit_ms": fmean(calm),
        "refit_with_search_ms": max(calm),
        "refit_hunting_ms": fmean(hunting),
        "lstsq_ms": plain,
    }
    print(f"{n} samples: refit {fmean(calm):.2f} ms (bar {_BAR_MS}); the one that looks for the")
    print(f"delay of moves {max(calm):.2f} ms; with hunting {fmean(hunting):.2f} ms;")
    print(f"one lstsq of the same size {plain:.2f} ms")
    print(json.dumps({"bench": "refit", "samples": n} | figures))


def _record(n: int) -> ActivationRecord:
    """The first `n` readings of one made-up activation, ten a second."""
    age_s = np.asarray(0.5 + 0.1 * np.arange(n), dtype=np.float64)
    scatter = np.random.default_rng(1).normal(size=n)
    moves = [(0.0, 1.0), (4.0, 0.02), (7.0, -0.05), (10.0, 0.01)]
    shown = sum(
        size * window_mean_response(age_s - at_s, 0.5, lag_s=0.8, dead_time_s=0.5, pole_ratio=0.15)
        for at_s, size in moves
    ) * (1 + 0.002 * scatter)
    weights = [[1.0, 0, 0, 0], [0, 10, 0, 0.5], [0, -25, 0, 1.0], [0, 5, 0, -0.6]]
    steps = Steps(np.array([at_s for at_s, _ in moves]), np.array(weights, dtype=float))
    relative = np.asarray(shown, dtype=np.float64)
    return ActivationRecord(age_s, relative, steps, 0.5, 0.002, 6.0, 0.0)


def _milliseconds(work: Callable[[], object]) -> float:
    repeats = timeit.repeat(work, timer=process_time, number=20, repeat=15)
    return 1e3 * min(repeats) / 20


if __name__ == "__main__":
    main()
