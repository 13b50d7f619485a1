"""Tables as pandas DataFrames; needs the optional package pandas."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ohmwright.model.errors import UsageError


def data_frame(rows: Sequence[Mapping[str, Any]]) -> Any:
    """Return a DataFrame of `rows`. Raises UsageError where pandas is missing."""
    try:
        import pandas
    except ModuleNotFoundError:
        raise UsageError(
            "A DataFrame needs the package pandas, which is not installed.",
            do="Install it with: pip install 'ohmwright[pandas]'",
        ) from None
    return pandas.DataFrame(list(rows))


class Rows(tuple[dict[str, Any], ...]):
    """Flat rows, each a dictionary with the same keys."""

    __slots__ = ()

    def to_pandas(self) -> Any:
        """Return a DataFrame of the rows. Raises UsageError where pandas is missing."""
        return data_frame(self)
