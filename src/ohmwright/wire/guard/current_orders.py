"""What a guard is told of the meter: how to ask for the current, and up to which it is none.

Needs the standard library only, for the guard's process.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class CurrentOrders:
    """A question for the current, of a meter that answers in plain digits."""

    question: bytes
    echo: bytes
    """What comes back of the question before its reply; empty where nothing does."""
    form: str
    """A regular expression for a reading; its one group is the current in digits."""
    ma_per_unit: float
    """The current in mA that a 1 stands for."""
    zero_ma: float
    """The largest current in mA that counts as none."""
    fades_s: float
    """Longest time in s after OFF for which the meter may show a current that has gone."""

    def as_json(self) -> dict[str, Any]:
        """Itself as plain data; `from_json` reads it."""
        sent = {name: getattr(self, name).decode("latin-1") for name in _BYTES}
        return {**asdict(self), **sent}

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> CurrentOrders:
        """The orders that `as_json` wrote."""
        return cls(**{**data, **{name: data[name].encode("latin-1") for name in _BYTES}})

    def flows(self, body: bytes) -> bool | None:
        """Whether the reply `body` says that a current flows; None where it is no reading."""
        found = re.fullmatch(self.form.encode("latin-1"), body, re.DOTALL)
        return None if found is None else float(found[1]) * self.ma_per_unit > self.zero_ma


_BYTES = ("question", "echo")
