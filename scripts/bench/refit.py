"""Time of one refit of the transient at a given number of samples, warm, against plain numpy.

    python scripts/bench/refit.py [--samples 300]

The reference is one least-squares solution of the same design by `numpy.linalg.lstsq`.
"""

from __future__ import annotations

import argparse
import json
import os
import timeit

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

import numpy as np  # noqa: E402

from ohmwright.estimation.activation_record import ActivationRecord  # noqa: E402
from ohmwright.estimation.coefficients import Steps, window_mean_response  # noqa: E402
from ohmwright.estimation.prior import NoisePrior, vague_prior  # noqa: E402
from ohmwright.estimation.transient_estimate import fit_transient  # noqa: E402

_BAR_MS = 1.0


def main() -> None:
    """Print the times as a line and as JSON."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--samples", type=int, default=300)
    n = parser.parse_args().samples
    record = _record(n)
    start = fit_transient(record, vague_prior(), NoisePrior(), None)
    if start is None:
        raise SystemExit("The made-up transient was not recognised.")

    def refit(departures: bool) -> None:
        fit_transient(record, vague_prior(), NoisePrior(), start.start, departures=departures)

    design = np.random.default_rng(0).normal(size=(n, 8))
    plain = _milliseconds(lambda: np.linalg.lstsq(design, record.relative, rcond=None))
    calm, hunting = (_milliseconds(lambda h=h: refit(h)) for h in (False, True))
    print(f"{n} samples: refit {calm:.2f} ms (bar {_BAR_MS}), with hunting {hunting:.2f} ms,")
    print(f"one lstsq of the same size {plain:.2f} ms")
    figures = {"refit_ms": calm, "refit_hunting_ms": hunting, "lstsq_ms": plain}
    print(json.dumps({"bench": "refit", "samples": n} | figures))


def _record(n: int) -> ActivationRecord:
    rng = np.random.default_rng(1)
    age_s = np.linspace(0.5, 30.0, n)
    moves = [(0.0, 1.0), (4.0, 0.02), (7.0, -0.05), (10.0, 0.01)]
    relative = sum(
        size * window_mean_response(age_s - at_s, 0.5, lag_s=0.8, dead_time_s=0.5, pole_ratio=0.15)
        for at_s, size in moves
    ) * (1 + 0.002 * rng.normal(size=n))
    weights = [[1.0, 0, 0, 0], [0, 10, 0, 0.5], [0, -25, 0, 1.0], [0, 5, 0, -0.6]]
    steps = Steps(np.array([at_s for at_s, _ in moves]), np.array(weights, dtype=float))
    return ActivationRecord(age_s, np.asarray(relative), steps, 0.5, 0.002, 6.0, 0.0)


def _milliseconds(work: object) -> float:
    repeats = timeit.repeat(work, number=20, repeat=7)  # type: ignore[arg-type]
    return 1e3 * min(repeats) / 20


if __name__ == "__main__":
    main()
