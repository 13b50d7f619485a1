"""Small published data sets, kept as text files beside this module with their source named."""

from functools import lru_cache
from importlib.resources import files

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@lru_cache(maxsize=32)
def table(name: str, columns: int = 1) -> FloatArray:
    """The numbers of data/`name`.txt, shape (n,) for one column, else (n, columns)."""
    text = files(__package__).joinpath("data", f"{name}.txt").read_text(encoding="utf-8")
    rows = (line for line in text.splitlines() if not line.startswith("#"))
    numbers = np.array(" ".join(rows).split(), dtype=np.float64)
    numbers.flags.writeable = False
    return numbers if columns == 1 else numbers.reshape(-1, columns)


def alternating(base: float) -> FloatArray:
    """NIST StRD NumAcc2 to 4: base + 0.2, then 500 times base + 0.1 and base + 0.3."""
    return np.array([base + 0.2] + [base + 0.1, base + 0.3] * 500)
