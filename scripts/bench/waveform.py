"""RMS and crest factor of 10^7 samples beside one pass that only reads 10^7 floats.

Run: python scripts/bench/waveform.py [samples]
"""

import importlib.util
import sys

import numpy as np

from ohmwright.uncertainty import waveform
from scripts.bench.sidebyside import compare, report


def main() -> None:
    """Measure and print."""
    samples = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000_000
    volts = np.random.default_rng(1).normal(0.0, 300.0, samples)
    counts = np.clip(np.round(volts * 20.0), -32768, 32767).astype(np.int16)
    numba = importlib.util.find_spec("numba") is not None

    def read_pass() -> float:
        return float(np.sum(volts))

    exact = waveform.waveform_parameters(counts.astype(np.float64))
    difference = abs(waveform.waveform_parameters(counts).crest_factor / exact.crest_factor - 1.0)
    report(
        [
            compare(
                "float64 / one read pass",
                lambda: waveform.waveform_parameters(volts),
                read_pass,
                2.3,
            ),
            compare(
                "int16 / one read pass of float64",
                lambda: waveform.waveform_parameters(counts),
                read_pass,
                0.4 if numba else 1.3,
            ),
            compare(
                "float64 / reading for the maximum only",
                lambda: waveform.waveform_parameters(volts),
                lambda: np.max(volts),
                2.3,
            ),
        ],
        samples=samples,
        numba=numba,
        int16_relative_difference=difference,
    )


if __name__ == "__main__":
    main()
