"""The random draws of a bench, from one seed: each name has a stream of its own.

A stream depends on seed and name alone, so a new parameter changes no other value.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import chain, repeat
from math import exp, log
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

_BLOCK = 1024


class Randomness:
    """The draws under a path of names; `under` goes one level down."""

    def __init__(self, seed: int, *names: str) -> None:
        self._seed, self._names = seed, names

    def under(self, *names: str) -> Randomness:
        """The draws under `names` below this path."""
        return Randomness(self._seed, *self._names, *names)

    def stream(self, name: str) -> np.random.Generator:
        """A fresh numpy generator for `name`; it draws the same values each time it is made."""
        key = tuple(crc32(part.encode()) for part in (*self._names, name))
        return np.random.Generator(
            np.random.PCG64(np.random.SeedSequence(self._seed, spawn_key=key))
        )

    def between(self, name: str, limits: tuple[float, float]) -> float:
        """A value evenly distributed between `limits`."""
        return float(self.stream(name).uniform(*limits))

    def log_between(self, name: str, limits: tuple[float, float]) -> float:
        """A value whose logarithm is evenly distributed between those of `limits`."""
        low, high = limits
        return low if low == high else exp(self.between(name, (log(low), log(high))))

    def integer(self, name: str, limits: tuple[int, int]) -> int:
        """A whole number between `limits`, both included."""
        return int(self.stream(name).integers(limits[0], limits[1], endpoint=True))

    def sign(self, name: str) -> float:
        """1.0 or -1.0."""
        return 1.0 if self.stream(name).random() < 0.5 else -1.0

    def chance(self, name: str, share: float) -> bool:
        """True for a `share` of all seeds."""
        return bool(self.stream(name).random() < share)

    def normals(self, name: str) -> Iterator[float]:
        """Standard normal draws without end."""
        return _endless(self.stream(name).standard_normal)

    def uniforms(self, name: str) -> Iterator[float]:
        """Draws between 0 and 1 without end."""
        return _endless(self.stream(name).random)


def _endless(block: Callable[[int], NDArray[np.float64]]) -> Iterator[float]:
    return chain.from_iterable(block(_BLOCK).tolist() for _ in repeat(None))
