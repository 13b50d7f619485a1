"""Compiled inner loops for long records, where the optional package numba is installed."""

import importlib
import importlib.util
from collections.abc import Callable
from functools import lru_cache

import numpy as np
import numpy.typing as npt

# Importing and compiling take about a second: a record must be long for that to be worth it.
LONG_RECORD_SAMPLES = 1 << 20

Scan = Callable[[npt.NDArray[np.generic]], tuple[float, float, float]]


def int16_kernel(record: npt.NDArray[np.generic]) -> Scan | None:
    """Return a compiled function for `record`: sum of squares, lowest and highest sample.

    None where the record is not int16, is shorter than `LONG_RECORD_SAMPLES`, or numba is missing.
    """
    if record.dtype != np.int16 or record.size < LONG_RECORD_SAMPLES:
        return None
    return _compiled_int16_scan()


@lru_cache(maxsize=1)
def _compiled_int16_scan() -> Scan | None:
    if importlib.util.find_spec("numba") is None:
        return None
    compiled: Scan = importlib.import_module("numba").njit(nogil=True)(_int16_scan)
    return compiled


def _int16_scan(record: npt.NDArray[np.int16]) -> tuple[float, float, float]:
    # Plain loops over a block in the cache, one for each figure, become vector code; two squares
    # add up to at most 2^31, which fits uint32. The sum in int64 is exact below 2^33 samples.
    square_sum, low, high = np.int64(0), np.int16(32767), np.int16(-32768)
    for start in range(0, record.size, 8192):
        block = record[start : start + 8192]
        for index in range(block.size):
            low = min(low, block[index])
        for index in range(block.size):
            high = max(high, block[index])
        for index in range(block.size // 2):
            one, other = np.int32(block[2 * index]), np.int32(block[2 * index + 1])
            square_sum += np.int64(np.uint32(one * one + other * other))
        if block.size % 2:
            last = np.int64(block[block.size - 1])
            square_sum += last * last
    return float(square_sum), float(low), float(high)
